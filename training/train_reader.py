"""Trains the reader of signs on cuts drawn while it learns.

    python -m training.train_reader --fonts DIR --out DIR [--seconds 500] [--workers 8] [--seed 1] [--start FILE]

Every drawn cut is kept in the accelerator's memory and met several times, each time changed a little. The judging set
has fonts that the training never sees. Writes ``reader.pt`` (smoothed weights) and ``reader.json`` (figures).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from . import studio
from .cuts import FIELDS, draw_cuts
from .feed import Feed, Field
from .flats import FIELDS as FLAT_FIELDS
from .flats import GROUND_FIELDS, draw_flats, draw_ground
from .fonts import find_fonts
from .marks import PROCESSES
from .nets import SignNet
from .product import ALPHABET, CUT_HEIGHT_PX


class Kept:
    """Samples in the accelerator's memory; the oldest give way."""

    def __init__(self, fields: Sequence[Field], most: int, device: str) -> None:
        self.arrays = {
            f.name: torch.zeros((most, *f.shape), dtype=getattr(torch, f.kind), device=device) for f in fields
        }
        self.total, self.most, self.device = 0, most, device

    def add(self, samples: dict[str, np.ndarray]) -> None:
        """Keep more samples."""
        size = len(next(iter(samples.values())))
        where = torch.arange(self.total, self.total + size, device=self.device) % self.most
        for name, array in samples.items():
            self.arrays[name][where] = torch.from_numpy(array).to(self.device)
        self.total += size

    def draw(self, count: int) -> dict[str, Tensor]:
        """A random batch."""
        pick = torch.randint(min(self.total, self.most), (count,), device=self.device)
        return {name: array[pick] for name, array in self.arrays.items()}


def as_input(x: Tensor, width: Tensor) -> Tensor:
    """Cuts B × 3 × H × W, 0–1 → zero mean per channel and unit spread over each cut's own width, zero beyond."""
    inside = (torch.arange(x.shape[3], device=x.device)[None, :] < width[:, None]).float()[:, None, None, :]
    area = inside.sum(dim=(2, 3), keepdim=True) * x.shape[2]
    mean = (x * inside).sum(dim=(2, 3), keepdim=True) / area
    x = (x - mean) * inside
    spread = (x.square().sum(dim=(1, 2, 3), keepdim=True) / (3 * area)).sqrt()
    return x / (spread + 0.02)


def unpacked(pixels: Tensor) -> Tensor:
    """Cuts uint8 B × H × W × 3 → B × 3 × H × W, 0–1."""
    return pixels.permute(0, 3, 1, 2).float() / 255


def changed(x: Tensor) -> Tensor:
    """Normalised cuts with other colours, lightings, noise and stains."""
    count, device = len(x), x.device

    def some(share: float) -> Tensor:
        return (torch.rand(count, 1, 1, 1, device=device) < share).float()

    mix = torch.eye(3, device=device) + 0.25 * torch.randn(count, 3, 3, device=device)
    x = torch.einsum("bij,bjhw->bihw", mix, x)
    grey = x.mean(dim=1, keepdim=True)
    x = x + some(0.2) * (grey - x)
    x = x * (1 - 2 * some(0.08))
    x = x + some(0.4) * 0.25 * torch.rand(count, 1, 1, 1, device=device) * torch.randn_like(x)
    rows = torch.rand(count, 1, CUT_HEIGHT_PX, 1, device=device).cumsum(2) / CUT_HEIGHT_PX - 0.25
    x = x + some(0.2) * 2 * torch.randn(count, 1, 1, 1, device=device) * rows * (x != 0)
    size = torch.rand(count, 1, 1, 1, device=device) * 10 + 2
    across = torch.arange(CUT_HEIGHT_PX, device=device)[None, None, :, None]
    along = torch.arange(x.shape[3], device=device)[None, None, None, :]
    cy = torch.rand(count, 1, 1, 1, device=device) * CUT_HEIGHT_PX
    cx = torch.rand(count, 1, 1, 1, device=device) * 240
    blob = torch.exp(-(((across - cy) / size) ** 2 + ((along - cx) / size) ** 2))
    return x + some(0.2) * torch.randn(count, 1, 1, 1, device=device) * blob


def judge(net: nn.Module, held: dict[str, Tensor]) -> dict[str, float]:
    """Share of held-out cuts whose whole text is right, by process and by height of capitals; and character errors."""
    net.eval()
    right: list[bool] = []
    with torch.no_grad():
        for start in range(0, len(held["width"]), 512):
            part = slice(start, start + 512)
            with torch.autocast("cuda", torch.bfloat16, enabled=held["pixels"].is_cuda):
                shares = net(as_input(unpacked(held["pixels"][part]), held["width"][part]))
            best = shares.argmax(2).cpu().numpy()
            steps = (held["width"][part].cpu().numpy() + 3) // 4
            for row, step, label, count in zip(
                best, steps, held["label"][part].cpu().numpy(), held["count"][part].cpu().numpy(), strict=True
            ):
                right.append(greedy(row[:step]) == [int(n) for n in label[:count]])
    net.train()
    ok = np.array(right)
    process, cap = held["process"].cpu().numpy(), held["cap"].cpu().numpy()
    figures = {"all": float(ok.mean())}
    for number, name in ((-1, "textless"), *enumerate(PROCESSES)):
        if (process == number).any():
            figures[name] = float(ok[process == number].mean())
    for low, high in ((7, 10), (10, 14), (14, 20), (20, 60)):
        inside = (cap >= low) & (cap < high) & (process >= 0)
        figures[f"cap {low}-{high}"] = float(ok[inside].mean()) if inside.any() else 0.0
    return figures


def greedy(best: np.ndarray) -> list[int]:
    """The best path's signs: repeats and blanks left out."""
    return [int(n) for i, n in enumerate(best) if n and (i == 0 or n != best[i - 1])]


def _fill(kept: Kept, feed: Feed) -> None:
    """Take what is drawn, for ever."""
    while True:
        kept.add(feed.take(128))


def batch_of(flat: Kept, cut: Kept, bank: Tensor, size: int, share: float) -> tuple[Tensor, ...]:
    """Normalised cuts, widths, labels, their lengths and weights; ``share`` are drawn whole, the rest in the studio."""
    whole = cut.draw(round(size * share))
    if len(whole["width"]) == size:
        x, ones = changed(as_input(unpacked(whole["pixels"]), whole["width"])), torch.ones(size, device=bank.device)
        return x, whole["width"], whole["label"].long(), whole["count"].long(), ones
    parts = flat.draw(size - len(whole["width"]))
    count, device = len(parts["process"]), bank.device
    flipped = (torch.rand(count, device=device) < 0.05) & ~parts["turnable"]
    empty = torch.rand(count, device=device) < 0.03
    with torch.no_grad():
        pixels, width, clear = studio.draw(parts["mask"], parts["span"], parts["process"], flipped, empty, bank)
    silent = (flipped | empty)[:, None]
    x = torch.cat((unpacked(whole["pixels"]), pixels))
    widths = torch.cat((whole["width"], width))
    labels = torch.cat((whole["label"], parts["label"])).long()
    counts = torch.cat((whole["count"], torch.where(silent[:, 0], 0, parts["count"]))).long()
    weights = torch.cat((torch.ones(len(whole["width"]), device=device), clear.float()))
    return changed(as_input(x, widths)), widths, labels, counts, weights


def main() -> None:
    """Train until the time is up."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fonts", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=1100)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--keep", type=int, default=600_000)
    parser.add_argument("--grounds", type=int, default=3000)
    parser.add_argument("--judged", type=int, default=3072)
    parser.add_argument("--whole", type=float, default=0.25, help="share of cuts drawn whole")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--start", type=Path)
    args = parser.parse_args()
    begun = time.monotonic()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(args.seed)
    fonts = find_fonts(args.fonts, False)
    others = Feed(draw_cuts, find_fonts(args.fonts, True), FIELDS, args.workers, args.seed + 1000, 512)
    held = {name: torch.from_numpy(array).to(device) for name, array in others.take(args.judged).items()}
    others.close()
    bare = Feed(draw_ground, fonts, GROUND_FIELDS, args.workers, args.seed + 2000, 128)
    bank = torch.from_numpy(bare.take(args.grounds)["pixels"]).to(device)
    bare.close()
    print(f"{args.judged} cuts to judge by and {len(bank)} grounds after {time.monotonic() - begun:.0f} s", flush=True)
    flat, cut = Kept(FLAT_FIELDS, args.keep, device), Kept(FIELDS, args.keep // 2, device)
    feeds = [
        Feed(draw_flats, fonts, FLAT_FIELDS, max(1, round(args.workers * 0.6)), args.seed + 3000, 1024),
        Feed(draw_cuts, fonts, FIELDS, max(1, round(args.workers * 0.4)), args.seed, 1024),
    ]
    for kept, feed in zip((flat, cut), feeds, strict=True):
        kept.add(feed.take(2 * args.batch))
        threading.Thread(target=_fill, args=(kept, feed), daemon=True).start()
    net = SignNet().to(device)
    if args.start:
        net.load_state_dict(torch.load(args.start, map_location=device))
    smooth = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.998), use_buffers=True
    )
    tune = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=0.02)
    loss_of = nn.CTCLoss(blank=0, zero_infinity=True, reduction="none")
    step, told = 0, 0.0
    first = time.monotonic()
    args.out.mkdir(parents=True, exist_ok=True)
    while (now := time.monotonic() - begun) < args.seconds:
        done = (time.monotonic() - first) / max(1.0, args.seconds - (first - begun))
        rate = args.rate * min(1.0, (step + 1) / 300) * (0.5 + 0.5 * math.cos(math.pi * min(1.0, done))) + 1e-6
        for group in tune.param_groups:
            group["lr"] = rate
        x, width, label, count, weight = batch_of(flat, cut, bank, args.batch, args.whole)
        with torch.autocast("cuda", torch.bfloat16, enabled=device == "cuda"):
            shares = net(x)
        losses = loss_of(shares.transpose(0, 1), label, (width.long() + 3) // 4, count) / count.clamp(min=1)
        loss = (losses * weight).sum() / weight.sum()
        tune.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        tune.step()
        smooth.update_parameters(net)
        step += 1
        if now - told > 60:
            told = now
            figures = judge(smooth.module, held)
            torch.save(smooth.module.state_dict(), args.out / "reader.pt")
            drawn = f"drawn {flat.total} flat {cut.total} whole"
            print(f"{now:5.0f} s  step {step}  {drawn}  loss {loss.item():.3f}  exact {figures['all']:.4f}", flush=True)
    figures = {
        **judge(smooth.module, held), "steps": step, "flat": flat.total, "whole": cut.total, "seed": args.seed,
        "signs": ALPHABET,
    }  # fmt: skip
    torch.save(smooth.module.state_dict(), args.out / "reader.pt")
    (args.out / "reader.json").write_text(json.dumps(figures, indent=1))
    print(json.dumps(figures), flush=True)
    for feed in feeds:
        feed.stop()
    os._exit(0)


if __name__ == "__main__":
    main()
