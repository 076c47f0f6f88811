"""The network that ``coppermend.damage.corrosion`` runs, as PyTorch makes it; and writing it as ONNX."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from torch import nn

from coppermend.damage.features import COUNT as CHANNELS

BLOCK = 16  # the network halves its input four times
WIDTHS = (16, 32, 48, 64, 64)


def network():
    """A small U-Net: the channels of ``features`` at 4 px/mm in, out three logits (light, moderate, heavy or worse)."""

    def conv(a: int, b: int, size: int = 3, stride: int = 1) -> nn.Module:
        return nn.Sequential(
            nn.Conv2d(a, b, size, stride, size // 2, bias=False), nn.BatchNorm2d(b), nn.ReLU(inplace=True)
        )

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            full, half, quarter, eighth, far = WIDTHS
            self.at_full = conv(CHANNELS, full)
            self.at_half = nn.Sequential(conv(CHANNELS, half), conv(half, half))
            self.at_quarter = nn.Sequential(conv(half, quarter, stride=2), conv(quarter, quarter))
            self.at_eighth = nn.Sequential(conv(quarter, eighth, stride=2), conv(eighth, eighth))
            self.at_far = nn.Sequential(conv(eighth, far, stride=2), conv(far, far), conv(far, far))
            below, beside = (far, eighth, quarter), (eighth, quarter, half)
            self.narrow = nn.ModuleList([conv(a, b // 2, 1) for a, b in zip(below, beside, strict=True)])
            self.join = nn.ModuleList([conv(b + b // 2, b) for b in beside])
            self.last = conv(half, full, 1)
            self.out = nn.Sequential(conv(2 * full, full), nn.Conv2d(full, 3, 1))

        def forward(self, x):
            # Edges are seen at full scale; what is around it is looked at from half scale on.
            full = self.at_full(x)
            half = self.at_half(nn.functional.avg_pool2d(x, 2))
            quarter = self.at_quarter(half)
            eighth = self.at_eighth(quarter)
            x = self.at_far(eighth)
            for narrow, join, side in zip(self.narrow, self.join, (eighth, quarter, half), strict=True):
                x = nn.functional.interpolate(narrow(x), scale_factor=2.0, mode="nearest")
                x = join(torch.cat([x, side], dim=1))
            x = nn.functional.interpolate(self.last(x), scale_factor=2.0, mode="nearest")
            return self.out(torch.cat([x, full], dim=1))

    return Net()


def predict(net, planes):
    """(3, rows, columns) chances from the channels, padded as ``corrosion`` does."""
    _, rows, columns = planes.shape
    padded = np.pad(planes, ((0, 0), (0, -rows % BLOCK), (0, -columns % BLOCK)), mode="edge")
    with torch.no_grad():
        logits = net(torch.from_numpy(padded[None]))[0, :, :rows, :columns].float().numpy()
    return 1 / (1 + np.exp(-logits))


def export(weights: Path, target: Path) -> None:
    """Write the network with free height and width."""
    net = network()
    net.load_state_dict(torch.load(weights))
    net.eval()
    torch.onnx.export(
        net, (torch.zeros(1, CHANNELS, 64, 64),), str(target), input_names=["channels"], output_names=["logits"],
        dynamic_axes={"channels": {0: "n", 2: "rows", 3: "columns"}, "logits": {0: "n", 2: "rows", 3: "columns"}},
        opset_version=17, dynamo=False,
    )  # fmt: skip
    print(target, target.stat().st_size, "bytes")
