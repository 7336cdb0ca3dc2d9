"""Trains the finder of lines on windows drawn while it learns.

    python -m training.train_finder --fonts DIR --out DIR [--seconds 500] [--workers 8] [--seed 1] [--start FILE]

Writes ``finder.pt`` (smoothed weights) and ``finder.json`` (figures on windows whose fonts it has not seen).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import threading
import time
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn

from .feed import Feed
from .fonts import find_fonts
from .nets import LineNet
from .windows import FIELDS, draw_windows


def as_input(pixels: Tensor) -> Tensor:
    """Windows uint8 B × H × W × 3 → B × 3 × H × W minus a half."""
    return pixels.permute(0, 3, 1, 2).float() / 255 - 0.5


def loss_of(maps: Tensor, batch: dict[str, Tensor]) -> tuple[Tensor, dict[str, float]]:
    """Cross-entropy and overlap of the middle bands, and the errors of direction and height within them."""
    core, ignore = batch["core"].float(), batch["ignore"].float()
    weight = 1 - ignore
    logit = maps[:, 0].float()
    cross = nn.functional.binary_cross_entropy_with_logits(logit, core, reduction="none") * weight
    share = torch.sigmoid(logit)
    hard = (share - core).abs().detach().pow(1.0) + 0.05
    cross = (cross * hard).sum() / weight.sum() * 8
    both = (share * core * weight).sum()
    overlap = 1 - (2 * both + 1) / ((share * weight).sum() + (core * weight).sum() + 1)
    inside = core.sum().clamp(min=1)
    truth = batch["maps"].float()
    turn = ((maps[:, 1:3].float() - truth[:, 0:2]).abs() * core[:, None]).sum() / inside
    height = ((maps[:, 3].float() - truth[:, 2]).abs() * core).sum() / inside
    parts = {"cross": cross.item(), "overlap": overlap.item(), "turn": turn.item(), "height": height.item()}
    return cross + overlap + turn + height, parts


def changed(x: Tensor) -> Tensor:
    """Windows with other colours, brightness and noise."""
    count, device = len(x), x.device

    def any_(*shape: int) -> Tensor:
        return torch.rand(count, *shape, device=device)

    gain, shift = 0.6 + 0.8 * any_(1, 1, 1), 0.5 * (any_(3, 1, 1) - 0.5)
    x = (x * gain + shift * (any_(1, 1, 1) < 0.7)).clamp(-0.5, 0.5)
    grey = x.mean(dim=1, keepdim=True)
    x = x + (any_(1, 1, 1) < 0.15) * (grey - x)
    x = x * (1 - 2 * (any_(1, 1, 1) < 0.1).float())
    return x + 0.04 * any_(1, 1, 1) * torch.randn_like(x) * (any_(1, 1, 1) < 0.4)


def judge(net: nn.Module, held: dict[str, Tensor]) -> dict[str, float]:
    """Recall and precision by cell, the share of cells turned less than 20° wrong, and the mean error of height."""
    net.eval()
    hit = said = true = turned = 0.0
    height = 0.0
    with torch.no_grad():
        for start in range(0, len(held["core"]), 32):
            part = {name: array[start : start + 32] for name, array in held.items()}
            maps = net(as_input(part["pixels"])).float()
            free = part["ignore"] == 0
            yes, core = (maps[:, 0] > 0) & free, (part["core"] > 0) & free
            hit += (yes & core).sum().item()
            said += yes.sum().item()
            true += core.sum().item()
            way = nn.functional.normalize(maps[:, 1:3], dim=1)
            cosine = (way * nn.functional.normalize(part["maps"][:, :2].float(), dim=1)).sum(dim=1)
            turned += ((cosine > math.cos(math.radians(20))) & core).sum().item()
            height += ((maps[:, 3] - part["maps"][:, 2].float()).abs() * core).sum().item()
    net.train()
    true = max(1.0, true)
    return {"recall": hit / true, "precision": hit / max(1.0, said), "turned": turned / true, "height": height / true}


class Kept:
    """Windows in the accelerator's memory; the oldest give way."""

    def __init__(self, most: int, device: str) -> None:
        self.arrays = {
            f.name: torch.zeros((most, *f.shape), dtype=getattr(torch, f.kind), device=device) for f in FIELDS
        }
        self.total, self.most, self.device = 0, most, device

    def add(self, samples: dict[str, np.ndarray]) -> None:
        """Keep more samples."""
        size = len(samples["core"])
        where = torch.arange(self.total, self.total + size, device=self.device) % self.most
        for name, array in samples.items():
            self.arrays[name][where] = torch.from_numpy(array).to(self.device)
        self.total += size


def _fill(kept: Kept, feed: Feed) -> None:
    """Take what is drawn, for ever."""
    while True:
        kept.add(feed.take(16))


def main() -> None:
    """Train until the time is up."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fonts", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=500)
    parser.add_argument("--workers", type=int, default=8)
    parser.add_argument("--seed", type=int, default=2)
    parser.add_argument("--batch", type=int, default=48)
    parser.add_argument("--keep", type=int, default=40_000)
    parser.add_argument("--judged", type=int, default=384)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--start", type=Path)
    args = parser.parse_args()
    begun = time.monotonic()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.manual_seed(args.seed)
    others = Feed(draw_windows, find_fonts(args.fonts, True), FIELDS, args.workers, args.seed + 1000, 64)
    held = {name: torch.from_numpy(array).to(device) for name, array in others.take(args.judged).items()}
    others.close()
    print(f"judging set after {time.monotonic() - begun:.0f} s", flush=True)
    feed = Feed(draw_windows, find_fonts(args.fonts, False), FIELDS, args.workers, args.seed, 256)
    kept = Kept(args.keep, device)
    kept.add(feed.take(2 * args.batch))
    threading.Thread(target=_fill, args=(kept, feed), daemon=True).start()
    net = LineNet().to(device)
    if args.start:
        net.load_state_dict(torch.load(args.start, map_location=device))
    smooth = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.997), use_buffers=True
    )
    tune = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=0.02)
    step, told = 0, 0.0
    first = time.monotonic()
    while (now := time.monotonic() - begun) < args.seconds:
        done = (time.monotonic() - first) / max(1.0, args.seconds - (first - begun))
        rate = args.rate * min(1.0, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * min(1.0, done))) + 1e-6
        for group in tune.param_groups:
            group["lr"] = rate
        pick = torch.randint(min(kept.total, args.keep), (args.batch,), device=device)
        batch = {name: array[pick] for name, array in kept.arrays.items()}
        with torch.autocast("cuda", torch.bfloat16, enabled=device == "cuda"):
            maps = net(changed(as_input(batch["pixels"])))
        loss, parts = loss_of(maps, batch)
        tune.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        tune.step()
        smooth.update_parameters(net)
        step += 1
        if now - told > 45:
            told = now
            figures = {name: round(value, 4) for name, value in {**parts, **judge(smooth.module, held)}.items()}
            print(f"{now:5.0f} s  step {step}  drawn {kept.total}  {figures}", flush=True)
    figures = {**judge(smooth.module, held), "steps": step, "drawn": kept.total, "seed": args.seed}
    args.out.mkdir(parents=True, exist_ok=True)
    torch.save(smooth.module.state_dict(), args.out / "finder.pt")
    (args.out / "finder.json").write_text(json.dumps(figures, indent=1))
    print(json.dumps(figures), flush=True)
    feed.stop()
    os._exit(0)


if __name__ == "__main__":
    main()
