"""Make training data from synthetic photographs, train the corrosion model, and write it as ONNX.

    python tools/train_corrosion.py data  DIR --first 1000 --count 200
    python tools/train_corrosion.py train DIR --minutes 30 --out model.pt
    python tools/train_corrosion.py local DIR --out src/coppermend/damage/data/local.npz --minutes 2
    python tools/train_corrosion.py export model.pt src/coppermend/damage/data/corrosion.onnx

Needs PyTorch (CPU) and onnx besides the project's own dependencies. Seeds are fixed: the data are
the same at every run; training stops by the clock, so the last digits of the weights depend on the machine.
"""

from __future__ import annotations

import argparse
import time
import zipfile
from pathlib import Path

import cv2
import numpy as np

from coppermend.board.folder import parse_board_folder
from coppermend.damage.camera import View
from coppermend.damage.features import channels, drawing_channels, mask_colour, photo_canvas
from coppermend.damage.local import COUNT as LOCAL_COUNT
from coppermend.damage.local import local_features
from coppermend.damage.rectify import rectify
from coppermend.demo.board_data import demo_board_files
from photo_render.boards import part_of_board, random_board
from photo_render.scene import random_scene
from photo_render.shoot import shoot

CROP = 128  # px at 4 px/mm


def board_for(seed: int):
    """An invented board, or now and then a window of the demo board."""
    rng = np.random.default_rng([seed, 5])
    if rng.random() < 0.2:
        demo = parse_board_folder(demo_board_files())
        width, height = float(rng.integers(100, 190)), float(rng.integers(80, 140))
        left, bottom = rng.uniform(0, demo.width_mm - width), rng.uniform(0, demo.height_mm - height)
        return part_of_board(demo, float(left), float(bottom), width, height)
    return random_board(seed)


def make_case(seed: int, grade: str | None = None):
    """One photograph with its board and scene."""
    board = board_for(seed)
    scene = random_scene(seed, board.width_mm, board.height_mm, grade)
    return board, scene, shoot(board, scene)


def jittered(view: View, seed: int) -> View:
    """A view as registration leaves it: off by some hundredths of a millimetre."""
    shift = np.eye(3)
    shift[:2, 2] = np.random.default_rng([seed, 3]).normal(0, 0.05, 2)
    return View(view.mm_to_px @ shift, view.camera)


def make_data(folder: Path, first: int, count: int) -> None:
    """Write one compressed file per case: the straightened photo, the drawing and the truth."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(first, first + count):
        target = folder / f"{seed}.npz"
        if target.exists():
            continue
        began = time.time()
        board, scene, shot = make_case(seed)
        straight = rectify(shot.photo, jittered(shot.view, seed), photo_canvas(board))
        np.savez(target, photo=straight, drawing=drawing_channels(board), severity=shot.severity)
        print(seed, scene.mask, scene.grade, f"{time.time() - began:.1f} s", flush=True)


def network():
    """A small U-Net: input channels of ``features`` at 4 px/mm, out three logits (light, moderate, heavy or worse)."""
    import torch  # noqa: PLC0415
    from torch import nn  # noqa: PLC0415

    def conv(a: int, b: int, size: int = 3, stride: int = 1) -> nn.Module:
        return nn.Sequential(
            nn.Conv2d(a, b, size, stride, size // 2, bias=False), nn.BatchNorm2d(b), nn.ReLU(inplace=True)
        )

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            self.first = conv(18, 12)
            self.second = nn.Sequential(conv(12, 20, stride=2), conv(20, 20))
            self.third = nn.Sequential(conv(20, 32, stride=2), conv(32, 32))
            self.fourth = nn.Sequential(conv(32, 48, stride=2), conv(48, 48))
            self.narrow = nn.ModuleList([conv(48, 24, 1), conv(32, 16, 1), conv(20, 8, 1)])
            self.join = nn.ModuleList([conv(24 + 32, 32), conv(16 + 20, 20), conv(8 + 12, 10)])
            self.out = nn.Conv2d(10, 3, 1)

        def forward(self, x):
            full = self.first(x)
            half = self.second(full)
            quarter = self.third(half)
            x = self.fourth(quarter)
            for narrow, join, side in zip(self.narrow, self.join, (quarter, half, full), strict=True):
                x = nn.functional.interpolate(narrow(x), scale_factor=2.0, mode="nearest")
                x = join(torch.cat([x, side], dim=1))
            return self.out(x)

    return Net()


def _add_cases(folder: Path, cases: dict) -> None:
    """Take up training cases that are new in the folder; every tenth seed is held out."""
    for path in sorted(folder.glob("*.npz")):
        if path.stem in cases or int(path.stem) % 10 == 0:
            continue
        try:
            with np.load(path) as data:
                case = (path.stem, data["photo"], data["drawing"], data["severity"])
        except (OSError, ValueError, EOFError, zipfile.BadZipFile):
            continue  # still being written by another process
        cases[path.stem] = (case, mask_colour(case[1], case[2]))


def _crop(case, rng: np.random.Generator):
    """A random window, near damage more often than not, turned and mirrored, its colours varied."""
    _, photo, drawing, severity = case
    rows, columns = severity.shape
    for _ in range(6):
        r, c = int(rng.integers(0, max(1, rows - CROP))), int(rng.integers(0, max(1, columns - CROP)))
        if rng.random() < 0.35 or (severity[r : r + CROP, c : c + CROP] >= 48).mean() > 0.02:
            break
    ratio = photo.shape[0] // rows
    colour = photo[ratio * r : ratio * (r + CROP), ratio * c : ratio * (c + CROP)].astype(np.float32)
    gains = rng.uniform(0.9, 1.1, 3) * rng.uniform(0.85, 1.15)
    colour = np.clip(255 * (colour / 255) ** rng.uniform(0.85, 1.2) * gains, 0, 255)
    if rng.random() < 0.3:
        colour = cv2.GaussianBlur(colour, (0, 0), rng.uniform(0.4, 1.1))
    if rng.random() < 0.3:
        colour = np.clip(colour + rng.normal(0, rng.uniform(1, 5), colour.shape), 0, 255)
    return (
        colour.astype(np.uint8),
        drawing[:, r : r + CROP, c : c + CROP],
        severity[r : r + CROP, c : c + CROP],
        gains,
    )


def _augmented(case, base, rng: np.random.Generator):
    colour, drawing, severity, gains = _crop(case, rng)
    drawing = drawing.copy()
    if rng.random() < 0.25:
        drawing[2] = 0  # bodies are not always known
    x = channels(colour, drawing, np.clip(base * gains, 0, 1))
    y = np.stack([severity >= step for step in (48, 112, 176)]).astype(np.float32)
    soft = np.stack(
        [np.clip((severity.astype(np.float32) - step) / 24 + 0.5, 0, 1) for step in (48, 112, 176)]
    )
    y = 0.5 * y + 0.5 * soft.astype(np.float32)
    if rng.random() < 0.5:
        x, y = x[:, ::-1], y[:, ::-1]
        x = _swap_rows(x)
    if rng.random() < 0.5:
        x, y = x[:, :, ::-1], y[:, :, ::-1]
        x = _swap_columns(x)
    return np.ascontiguousarray(x), np.ascontiguousarray(y)


def _swap_rows(x):
    """Upper and lower half-pixels change places when the picture is turned upside down."""
    x = x.copy()
    x[:12] = x[[6, 7, 8, 9, 10, 11, 0, 1, 2, 3, 4, 5]]
    return x


def _swap_columns(x):
    x = x.copy()
    x[:12] = x[[3, 4, 5, 0, 1, 2, 9, 10, 11, 6, 7, 8]]
    return x


def train(folder: Path, out: Path, minutes: float, start: Path | None, batch: int = 8) -> None:
    """Train by the clock."""
    import torch  # noqa: PLC0415

    torch.manual_seed(7)
    rng = np.random.default_rng(7)
    net = network()
    if start:
        net.load_state_dict(torch.load(start))
    optimiser = torch.optim.AdamW(net.parameters(), lr=4e-3, weight_decay=1e-3)
    known: dict = {}
    weights = torch.tensor([1.0, 1.2, 0.6]).view(1, 3, 1, 1)
    began, step, running = time.time(), 0, 0.0
    while (spent := (time.time() - began) / 60) < minutes:
        for group in optimiser.param_groups:
            group["lr"] = (
                4e-3 * min(1, step / 60 + 0.05) * (0.5 + 0.5 * np.cos(np.pi * spent / minutes)) + 2e-5
            )
        if step % 60 == 0:
            _add_cases(folder, known)  # rendering may go on meanwhile
            cases = list(known.values())
        pairs = [_augmented(*cases[i], rng) for i in rng.integers(0, len(cases), batch)]
        x = torch.from_numpy(np.stack([p[0] for p in pairs]))
        y = torch.from_numpy(np.stack([p[1] for p in pairs]))
        logits = net(x)
        bce = torch.nn.functional.binary_cross_entropy_with_logits(logits, y, reduction="none")
        p = torch.sigmoid(logits)
        hit, total = (p * y).sum((0, 2, 3)), (p + y).sum((0, 2, 3))
        dice = 1 - (2 * hit + 50) / (total + 50)
        loss = (bce * weights).mean() + 0.25 * (dice * weights.flatten()).mean()
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        running = 0.97 * running + 0.03 * loss.item() if step else loss.item()
        step += 1
        if step % 20 == 0:
            torch.save(net.state_dict(), out)
            print(f"step {step}  {spent:.1f} min  {len(cases)} cases  loss {running:.4f}", flush=True)
    torch.save(net.state_dict(), out)


def train_local(folder: Path, target: Path, minutes: float) -> None:
    """Train the pixel model on cells drawn from every case, damaged ones as often as sound ones."""
    import torch  # noqa: PLC0415

    rng, torch_seed = np.random.default_rng(1), torch.manual_seed(3)
    known: dict = {}
    _add_cases(folder, known)
    features, severities = [], []
    for (_, photo, drawing, severity), base in known.values():
        rows = local_features(channels(photo, drawing, base)).reshape(LOCAL_COUNT, -1).T
        values = severity.ravel()
        damaged, sound = np.flatnonzero(values >= 48), np.flatnonzero(values < 48)
        some = rng.choice(damaged, min(len(damaged), 14_000), replace=False)
        picked = np.concatenate([some, rng.choice(sound, 16_000, replace=False)])
        features.append(rows[picked])
        severities.append(values[picked].astype(np.float32))
    x, severity = np.concatenate(features), np.concatenate(severities)
    mean, spread = x.mean(axis=0), x.std(axis=0) + 1e-6
    inputs = torch.from_numpy(np.clip((x - mean) / spread, -6, 6))
    wanted = torch.from_numpy(
        np.stack([np.clip((severity - step) / 24 + 0.5, 0, 1) for step in (48, 112, 176)], axis=1)
    )
    weights = torch.from_numpy(np.where(severity >= 48, 1.0, 2.0).astype(np.float32))[:, None]
    sizes = ((LOCAL_COUNT, 64), (64, 48), (48, 3))
    layers = [torch.nn.Linear(*size) for size in sizes]
    net = torch.nn.Sequential(layers[0], torch.nn.ReLU(), layers[1], torch.nn.ReLU(), layers[2])
    optimiser = torch.optim.AdamW(net.parameters(), lr=4e-3, weight_decay=1e-4)
    began = time.time()
    while (spent := (time.time() - began) / 60) < minutes:
        for group in optimiser.param_groups:
            group["lr"] = 4e-3 * (1 - spent / minutes) + 1e-5
        chosen = torch.randint(0, len(inputs), (4096,), generator=torch_seed)
        logits = net(inputs[chosen] + 0.05 * torch.randn(4096, LOCAL_COUNT))
        each = torch.nn.functional.binary_cross_entropy_with_logits(logits, wanted[chosen], reduction="none")
        loss = (each * weights[chosen]).mean()
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
    arrays = {"mean": mean, "spread": spread}
    for number, layer in enumerate(layers, start=1):
        arrays[f"w{number}"] = layer.weight.detach().numpy()
        arrays[f"b{number}"] = layer.bias.detach().numpy()
    np.savez(target, **arrays)


def export(weights: Path, target: Path) -> None:
    """Write the network with free height and width."""
    import torch  # noqa: PLC0415

    net = network()
    net.load_state_dict(torch.load(weights))
    net.eval()
    torch.onnx.export(
        net, (torch.zeros(1, 18, 64, 64),), str(target), input_names=["channels"], output_names=["logits"],
        dynamic_axes={"channels": {0: "n", 2: "rows", 3: "columns"}, "logits": {0: "n", 2: "rows", 3: "columns"}},
        opset_version=17, dynamo=False,
    )  # fmt: skip
    print(target, target.stat().st_size, "bytes")


def main() -> None:
    """Run one of the three steps."""
    options = argparse.ArgumentParser(description=__doc__)
    steps = options.add_subparsers(dest="step", required=True)
    data = steps.add_parser("data")
    data.add_argument("folder", type=Path)
    data.add_argument("--first", type=int, default=1000)
    data.add_argument("--count", type=int, default=200)
    fit = steps.add_parser("train")
    fit.add_argument("folder", type=Path)
    fit.add_argument("--out", type=Path, default=Path("corrosion.pt"))
    fit.add_argument("--start", type=Path)
    fit.add_argument("--minutes", type=float, default=30)
    pixel = steps.add_parser("local")
    pixel.add_argument("folder", type=Path)
    pixel.add_argument("--out", type=Path, default=Path("local.npz"))
    pixel.add_argument("--minutes", type=float, default=2)
    write = steps.add_parser("export")
    write.add_argument("weights", type=Path)
    write.add_argument("target", type=Path)
    chosen = options.parse_args()
    if chosen.step == "data":
        make_data(chosen.folder, chosen.first, chosen.count)
    elif chosen.step == "train":
        train(chosen.folder, chosen.out, chosen.minutes, chosen.start)
    elif chosen.step == "local":
        train_local(chosen.folder, chosen.out, chosen.minutes)
    else:
        export(chosen.weights, chosen.target)


if __name__ == "__main__":
    main()
