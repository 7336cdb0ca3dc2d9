"""Masks of text on textless pictures, lit and photographed on the accelerator, a whole batch at a time.

The same steps as in ``marks``, ``light`` and ``camera``, simpler and for cuts only: a mask becomes relief or colour, a
lamp shades it over the picture beneath, the photo is taken at its own size (capitals 7 to 40 pixels high) with blur,
noise and JPEG, and brought to the height of a cut. What is alike within a batch (sizes, kernels) is drawn per group.
"""

from __future__ import annotations

import math
from functools import lru_cache

import torch
from torch import Tensor
from torch.nn.functional import conv2d, grid_sample, interpolate, pad

from .blocks import CAP_PX
from .marks import PROCESSES
from .product import CUT_HEIGHT_PX

WIDTH_PX = 384
CUT_CAP_PX = 24.0
GROUP = 64
LEAST_VISIBLE = 0.55
_RAISED, _FLAT = PROCESSES.index("moulded"), (PROCESSES.index("etched"), PROCESSES.index("printed"))


def uniform(low: float, high: float, *shape: int, device: torch.device) -> Tensor:
    """Evenly spread numbers."""
    return torch.rand(*shape, device=device) * (high - low) + low


def blurred(x: Tensor, sigma: float) -> Tensor:
    """B × C × H × W through a Gaussian of one width, edges repeated."""
    if sigma < 0.15:
        return x
    radius = max(1, math.ceil(2.5 * sigma))
    steps = torch.arange(-radius, radius + 1, device=x.device, dtype=x.dtype)
    kernel = torch.exp(-0.5 * (steps / sigma) ** 2)
    kernel = kernel / kernel.sum()
    batch, channels, rows, columns = x.shape
    flat = x.reshape(batch * channels, 1, rows, columns)
    flat = conv2d(pad(flat, (radius, radius, 0, 0), mode="replicate"), kernel.view(1, 1, 1, -1))
    flat = conv2d(pad(flat, (0, 0, radius, radius), mode="replicate"), kernel.view(1, 1, -1, 1))
    return flat.view(batch, channels, rows, columns)


def laid(mask: Tensor, span: Tensor, flipped: Tensor) -> tuple[Tensor, Tensor]:
    """Masks B × R × C and their spans → B × 1 × 40 × 384 as a finder that errs a little would cut them, and widths."""
    count, rows, columns = mask.shape
    device = mask.device

    def normal(spread: float) -> Tensor:
        return spread * torch.randn(count, device=device)

    down = CUT_CAP_PX / CAP_PX * torch.exp(normal(0.11))
    along = down * torch.exp(normal(0.16))
    left, right = (uniform(-0.05, 1.0, count, device=device) * CAP_PX for _ in range(2))
    length = span[:, 1] - span[:, 0]
    along = torch.minimum(along, WIDTH_PX / (length + left + right))
    width = ((length + left + right) * along).clamp(12, WIDTH_PX)
    j = torch.arange(WIDTH_PX, device=device)[None, None, :] + 0.5
    i = torch.arange(CUT_HEIGHT_PX, device=device)[None, :, None] + 0.5 - CUT_HEIGHT_PX / 2
    turn = torch.where(flipped, -1.0, 1.0)[:, None, None]
    u = (span[:, 0] - left)[:, None, None] + j / along[:, None, None]
    u = torch.where(flipped[:, None, None], (span[:, 1] + right)[:, None, None] - j / along[:, None, None], u)
    v = turn * i / down[:, None, None] + normal(0.085)[:, None, None] * CAP_PX
    middle = (span[:, 0] + span[:, 1])[:, None, None] / 2
    angle = torch.deg2rad(normal(1.6)) * (6 * CAP_PX / length).clamp(max=1)
    v = v + (u - middle) * torch.tan(angle)[:, None, None]
    share = (2 * (u - middle) / length[:, None, None]).square()
    seen = span[:, 2] * uniform(0.6, 1.2, count, device=device) + normal(0.03) * CAP_PX
    v = v + share * seen[:, None, None]
    x = u / columns * 2 - 1
    y = (v + rows / 2) / rows * 2 - 1
    grid = torch.stack((x.expand_as(y), y), dim=3)
    return grid_sample(mask[:, None].float() / 255, grid, align_corners=False), width.int()


def grounds(bank: Tensor, count: int) -> Tensor:
    """Random pieces of textless pictures (N × S × S × 3, uint8), turned and resized → count × 3 × 40 × 384, 0–1."""
    device = bank.device
    pick = torch.randint(len(bank), (count,), device=device)
    angle = uniform(0, 2 * math.pi, count, device=device)
    size = torch.exp(uniform(math.log(0.25), math.log(1.0), count, device=device))
    j = (torch.arange(WIDTH_PX, device=device) - WIDTH_PX / 2)[None, None, :] * size[:, None, None]
    i = (torch.arange(CUT_HEIGHT_PX, device=device) - CUT_HEIGHT_PX / 2)[None, :, None] * size[:, None, None]
    cos, sin = torch.cos(angle)[:, None, None], torch.sin(angle)[:, None, None]
    side = bank.shape[1]
    x = (cos * j - sin * i) / side * 2 + uniform(-0.6, 0.6, count, 1, 1, device=device)
    y = (sin * j + cos * i) / side * 2 + uniform(-0.6, 0.6, count, 1, 1, device=device)
    pictures = bank[pick].permute(0, 3, 1, 2).float() / 255
    return grid_sample(pictures, torch.stack((x, y), 3), padding_mode="reflection", align_corners=False)


def marked(mask: Tensor, ground: Tensor, process: Tensor) -> Tensor:
    """Letters 0–1 by their processes over pictures of grounds, under one lamp each → RGB about 0–1."""
    count, device = len(mask), mask.device

    def per(low: float, high: float) -> Tensor:
        return uniform(low, high, count, 1, 1, 1, device=device)

    def some(share: float) -> Tensor:
        return (torch.rand(count, 1, 1, 1, device=device) < share).float()

    flat = ((process == _FLAT[0]) | (process == _FLAT[1])).view(-1, 1, 1, 1).float()
    raised = (process == _RAISED).view(-1, 1, 1, 1).float()
    one = blurred(mask, float(uniform(0.4, 1.6, 1, device=device)))
    deep = (one + blurred(mask, float(uniform(1.2, 3.0, 1, device=device)))) / 2
    keen = some(0.5)
    profile = keen * one + (1 - keen) * deep * (0.4 + 0.6 * mask)
    up = torch.where((raised > 0) & (torch.rand_like(raised) < 0.8), 1.0, -1.0)
    depth = torch.exp(per(math.log(0.03), math.log(0.2))) * CUT_CAP_PX * torch.where(flat > 0, 0.12, 1.0)
    height = up * depth * profile
    dx = (height[:, :, :, 2:] - height[:, :, :, :-2])[:, :, 1:-1] / 2
    dy = (height[:, :, 2:] - height[:, :, :-2])[:, :, :, 1:-1] / 2
    dx, dy = pad(dx, (1, 1, 1, 1)), pad(dy, (1, 1, 1, 1))
    norm = torch.rsqrt(1 + dx * dx + dy * dy)
    turn, rise = per(0, 2 * math.pi), torch.deg2rad(per(15, 75))
    lx, ly, lz = torch.cos(rise) * torch.cos(turn), torch.cos(rise) * torch.sin(turn), torch.sin(rise)
    facing = ((-dx * lx - dy * ly + lz) * norm).clamp(min=0)
    ambient = per(0.15, 0.6)
    tone = (ambient + (1 - ambient) * facing / lz) / 1.0
    tone = 1 + (tone - 1).clamp(-0.85, 1.6)
    fx, fy, phase = torch.randn_like(lx) * 3.5, torch.randn_like(lx) * 3.5, per(0, 6.28)
    mirror = torch.sin(-fx * dx * norm - fy * dy * norm + phase) - torch.sin(phase)
    tone = tone + some(0.6) * per(0, 0.45) * mirror
    recess = (blurred(height, 2.2) - height).clamp(min=0) / (0.1 * CUT_CAP_PX)
    tone = tone * (1 - some(0.7) * per(0.1, 0.6) * recess.clamp(max=1))
    albedo = ground
    base = ground.mean(dim=(2, 3), keepdim=True)
    contrast = per(0.12, 0.8)
    sign = torch.where(torch.rand_like(contrast) < 0.5, 1.0, -1.0)
    like = base * (1 + sign * contrast) + sign * contrast * 0.2
    shade = torch.where(torch.rand_like(contrast) < 0.5, per(0.02, 0.15), per(0.75, 0.98)).expand_as(base)
    any_ = torch.rand(count, 3, 1, 1, device=device)
    choice = torch.rand(count, 1, 1, 1, device=device)
    colour = torch.where(choice < 0.62, like, torch.where(choice < 0.86, shade, any_)).clamp(0, 1)
    far = (colour - base).abs().amax(dim=1, keepdim=True) < 0.1
    colour = torch.where(far, base + torch.where(base.mean(1, keepdim=True) < 0.5, 0.2, -0.2), colour)
    cover = torch.where(flat > 0, per(0.5, 1.0), some(0.42) * per(0.25, 1.0)) * one
    coarse = torch.rand(count, 1, 6, 48, device=device)
    noise = interpolate(coarse, (CUT_HEIGHT_PX, WIDTH_PX), mode="bicubic", align_corners=False)
    worn = some(0.3) * ((noise - per(0.45, 0.9)) / 0.15).clamp(0, 1)
    cover = cover * (1 - worn)
    albedo = albedo * (1 - cover) + colour * cover
    spec = (
        some(0.6)
        * per(0, 0.6)
        * (((-dx * lx - dy * ly + lz + 1) * norm / torch.sqrt(2 + 2 * lz)).clamp(0, 1)).pow(
            torch.exp(per(math.log(6), math.log(90)))
        )
    )
    rest = ((lz + 1) / torch.sqrt(2 + 2 * lz)).clamp(0, 1)
    return albedo * tone + (spec - spec.amin(dim=(2, 3), keepdim=True)) * rest


def photographed(scene: Tensor) -> Tensor:
    """RGB about 0–1 → as a telephone gives it, 0–1; capitals of one height for the whole group."""
    count, device = len(scene), scene.device
    cap = float(torch.exp(uniform(math.log(7), math.log(36), 1, device=device)))
    small = scene
    ratio = min(1.0, cap / CUT_CAP_PX)
    if ratio < 0.95:
        size = (max(10, round(CUT_HEIGHT_PX * ratio)), max(16, round(WIDTH_PX * ratio)))
        small = interpolate(scene, size, mode="bilinear", antialias=True, align_corners=False)
    own = min(cap, CUT_CAP_PX)
    small = blurred(small, own * 0.11 * float(torch.rand(1)) ** 2)
    if torch.rand(1) < 0.2:
        reach = 1 + 2 * int(torch.randint(1, max(2, int(0.12 * own) + 1), (1,)))
        box = torch.ones(3, 1, 1, reach, device=device) / reach
        box = box if torch.rand(1) < 0.5 else box.transpose(2, 3)
        small = conv2d(pad(small, (box.shape[3] // 2,) * 2 + (box.shape[2] // 2,) * 2, mode="replicate"), box, groups=3)
    cast = 1 + 0.05 * torch.randn(count, 3, 1, 1, device=device)
    middle = small.mean(dim=(1, 2, 3), keepdim=True) + 0.02
    wanted = torch.exp(math.log(0.36) + 0.38 * torch.randn(count, 1, 1, 1, device=device))
    small = small * cast * (wanted / middle) ** uniform(0.4, 1.0, count, 1, 1, 1, device=device)
    grey = small.mean(dim=1, keepdim=True)
    small = grey + (small - grey) * uniform(0.5, 1.25, count, 1, 1, 1, device=device)
    small = small.clamp(1e-3, 1.2).pow(uniform(0.75, 1.3, count, 1, 1, 1, device=device))
    strength = 0.05 * torch.rand(count, 1, 1, 1, device=device) * torch.rand(count, 1, 1, 1, device=device)
    noise = 0.8 * torch.randn(count, 1, *small.shape[2:], device=device) + 0.5 * torch.randn_like(small)
    if torch.rand(1) < 0.5:
        noise = blurred(noise, float(uniform(0.5, 1.0, 1, device=device))) * 1.7
    if cap > CUT_CAP_PX:
        noise = noise * CUT_CAP_PX / cap
    small = small + strength * noise
    if torch.rand(1) < 0.4:
        small = small + float(uniform(0.3, 1.6, 1, device=device)) * (
            small - blurred(small, float(uniform(0.7, 1.8, 1, device=device)))
        )
    small = small.clamp(0, 1)
    if torch.rand(1) < 0.8:
        small = packed(small, float(uniform(40, 96, 1, device=device)))
    if small.shape[2] != CUT_HEIGHT_PX:
        small = interpolate(small, (CUT_HEIGHT_PX, WIDTH_PX), mode="bicubic", align_corners=False)
    return (small.clamp(0, 1) * 255).round() / 255


@lru_cache(maxsize=2)
def _cosines(device: torch.device) -> Tensor:
    n = torch.arange(8, device=device, dtype=torch.float32)
    basis = torch.cos((2 * n[None, :] + 1) * n[:, None] * math.pi / 16) * 0.5
    basis[0] = basis[0] / math.sqrt(2)
    return basis


def packed(x: Tensor, quality: float) -> Tensor:
    """B × 3 × H × W, 0–1 → after the losses of JPEG: blocks of 8 × 8, cosine transform, steps coarser with frequency.

    The steps grow linearly with frequency, scaled by the quality as the Independent JPEG Group's software does.
    """
    scale = 50 / quality if quality < 50 else 2 - quality / 50
    n = torch.arange(8, device=x.device, dtype=torch.float32)
    step = ((10 + 7 * (n[:, None] + n[None, :])) * scale).clamp(min=1) / 255
    luma = x.mean(dim=1, keepdim=True)
    chroma = x - luma
    return (_blocks(luma, step) + _blocks(chroma, 1.7 * step)).clamp(0, 1)


def _blocks(x: Tensor, step: Tensor) -> Tensor:
    rows, columns = x.shape[2:]
    whole = pad(x, (0, -columns % 8, 0, -rows % 8), mode="replicate") if columns % 8 or rows % 8 else x
    batch, channels, high, wide = whole.shape
    tiles = whole.view(batch, channels, high // 8, 8, wide // 8, 8).permute(0, 1, 2, 4, 3, 5)
    basis = _cosines(x.device)
    turned = basis @ tiles @ basis.T
    back = basis.T @ ((turned / step).round() * step) @ basis
    return back.permute(0, 1, 2, 4, 3, 5).reshape(batch, channels, high, wide)[:, :, :rows, :columns]


def visibility(scene: Tensor, ground: Tensor) -> Tensor:
    """How strongly the marks change a ground, over how much it changes by itself from place to place; B."""
    change = (scene - ground).abs().amax(dim=1).square().mean(dim=(1, 2)).sqrt()
    grey = ground.mean(dim=1, keepdim=True)
    fine = (grey - blurred(grey, 6.0)).std(dim=(1, 2, 3))
    return change / (fine + 0.03 * grey.mean(dim=(1, 2, 3)) + 0.012)


def draw(
    mask: Tensor, span: Tensor, process: Tensor, flipped: Tensor, empty: Tensor, bank: Tensor
) -> tuple[Tensor, Tensor, Tensor]:
    """A batch of flat lines → cuts B × 3 × 40 × 384, 0–1, zero beyond their widths; the widths; whether to learn each.

    Letters that hardly show are not to be learnt: nobody could read them.
    """
    cuts, widths, clear = [], [], []
    for start in range(0, len(mask), GROUP):
        part = slice(start, start + GROUP)
        flat, width = laid(mask[part], span[part], flipped[part])
        flat = flat * (~empty[part])[:, None, None, None]
        ground = grounds(bank, len(flat))
        scene = marked(flat, ground, process[part])
        clear.append((visibility(scene, ground) > LEAST_VISIBLE) | empty[part])
        cuts.append(photographed(scene))
        widths.append(width)
    x, width = torch.cat(cuts), torch.cat(widths)
    inside = torch.arange(WIDTH_PX, device=x.device)[None, None, None, :] < width[:, None, None, None]
    return x * inside, width, torch.cat(clear)
