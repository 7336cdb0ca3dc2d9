"""The network that reads the signs of a level cut. Needs PyTorch."""

from __future__ import annotations

import torch
from torch import Tensor, nn

from .product import ALPHABET

CLASSES = len(ALPHABET) + 1


def _conv(inner: int, outer: int, stride: int | tuple[int, int] = 1, size: int = 3) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inner, outer, size, stride, size // 2, bias=False), nn.BatchNorm2d(outer), nn.ReLU(inplace=True)
    )


class Residual(nn.Module):
    """Two 3 × 3 convolutions with a way past them (He et al., 2016)."""

    def __init__(self, inner: int, outer: int, stride: int | tuple[int, int] = 1) -> None:
        super().__init__()
        self.first = _conv(inner, outer, stride)
        self.second = nn.Sequential(nn.Conv2d(outer, outer, 3, 1, 1, bias=False), nn.BatchNorm2d(outer))
        same = inner == outer and stride == 1
        self.past = (
            nn.Identity()
            if same
            else nn.Sequential(nn.Conv2d(inner, outer, 1, stride, bias=False), nn.BatchNorm2d(outer))
        )

    def forward(self, x: Tensor) -> Tensor:
        """B × inner × H × W → B × outer × H' × W'."""
        return torch.relu(self.second(self.first(x)) + self.past(x))


class Along(nn.Module):
    """Mixing along the line only: a wide depthwise convolution, then a small perceptron per step."""

    def __init__(self, channels: int) -> None:
        super().__init__()
        self.mix = nn.Sequential(
            nn.Conv2d(channels, channels, (1, 7), 1, (0, 3), groups=channels, bias=False),
            nn.BatchNorm2d(channels),
            nn.Conv2d(channels, 2 * channels, 1, bias=False),
            nn.BatchNorm2d(2 * channels),
            nn.ReLU(inplace=True),
            nn.Conv2d(2 * channels, channels, 1, bias=False),
            nn.BatchNorm2d(channels),
        )

    def forward(self, x: Tensor) -> Tensor:
        """Same shape in and out."""
        return torch.relu(x + self.mix(x))


class SignNet(nn.Module):
    """B × 3 × 40 × W, each cut of zero mean and unit spread → B × W/4 × classes, log-probabilities for CTC.

    It looks a few signs around only and has no memory along the line: a code obeys no language.
    """

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(
            _conv(3, 32, 2), _conv(32, 48),
            Residual(48, 64, 2), Residual(64, 64),
            Residual(64, 128, (2, 1)), Residual(128, 128),
            Residual(128, 192, (2, 1)), Residual(192, 192),
        )  # fmt: skip
        self.fold = nn.Sequential(nn.Conv2d(192, 256, (3, 1), bias=False), nn.BatchNorm2d(256), nn.ReLU(inplace=True))
        self.along = nn.Sequential(Along(256), Along(256), Along(256))
        self.drop = nn.Dropout(0.1)
        self.head = nn.Conv2d(256, CLASSES, 1)

    def forward(self, x: Tensor) -> Tensor:
        """See the class."""
        steps = self.head(self.drop(self.along(self.fold(self.body(x)))))
        return torch.log_softmax(steps.squeeze(2).transpose(1, 2).float(), dim=2)
