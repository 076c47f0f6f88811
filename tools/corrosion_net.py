"""The network that ``coppermend.damage.corrosion`` runs, as PyTorch makes it; writing it as ONNX, and taking it back."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import numpy as np
import onnx
import torch
from torch import nn

from coppermend.damage.features import COUNT as CHANNELS

BLOCK = 16  # the network halves its input four times
WIDTHS = (16, 32, 48, 64, 64)
SPREAD = 0.12  # of a convolution's weights, about as training leaves them


def _conv(a: int, b: int, size: int = 3, stride: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(a, b, size, stride, size // 2, bias=False), nn.BatchNorm2d(b), nn.ReLU(inplace=True)
    )


class Added(nn.Module):
    """What two convolutions add to their input; nothing before training, so that older weights can start it."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.pair = nn.Sequential(
            _conv(width, width), nn.Conv2d(width, width, 3, 1, 1, bias=False), nn.BatchNorm2d(width)
        )
        nn.init.zeros_(self.pair[2].weight)

    def forward(self, x):
        return x + self.pair(x)


def network():
    """A small U-Net: the channels of ``features`` at 4 px/mm in, out three logits (light, moderate, heavy or worse)."""

    class Net(nn.Module):
        def __init__(self) -> None:
            super().__init__()
            full, half, quarter, eighth, far = WIDTHS
            self.at_full = _conv(CHANNELS, full)
            self.at_half = nn.Sequential(_conv(CHANNELS, half), _conv(half, half), Added(half))
            self.at_quarter = nn.Sequential(_conv(half, quarter, stride=2), _conv(quarter, quarter))
            self.at_eighth = nn.Sequential(_conv(quarter, eighth, stride=2), _conv(eighth, eighth))
            self.at_far = nn.Sequential(_conv(eighth, far, stride=2), _conv(far, far), _conv(far, far))
            below, beside = (far, eighth, quarter), (eighth, quarter, half)
            self.narrow = nn.ModuleList([_conv(a, b // 2, 1) for a, b in zip(below, beside, strict=True)])
            self.join = nn.ModuleList([_conv(b + b // 2, b) for b in beside])
            self.last = _conv(half, full, 1)
            self.out = nn.Sequential(_conv(2 * full, full), Added(full), nn.Conv2d(full, 3, 1))

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


def from_onnx(source: Path, batches: Iterable[np.ndarray]):
    """The network with the weights of an exported one, to be trained on. An older export without ``Added`` will do.

    Export folds each normalisation into its convolution. It is taken out again by what the convolutions give on ``batches`` of
    channels; their weights are brought to the spread that training leaves, lest its first steps be too large for them.
    """
    net = network().eval()
    convs = _in_order_of_use(net)
    graph = onnx.load(str(source)).graph
    stored = {tensor.name: torch.tensor(onnx.numpy_helper.to_array(tensor)) for tensor in graph.initializer}
    folded = [[stored[name] for name in node.input[1:]] for node in graph.node if node.op_type == "Conv"]
    if len(folded) < len(convs):
        added = {conv for pair in net.modules() if isinstance(pair, Added) for conv in pair.modules()}
        convs = [conv for conv in convs if conv not in added]
    layers = [m for m in net.modules() if isinstance(m, nn.Sequential)]
    after = {a: b for layer in layers for a, b in pairwise(layer) if isinstance(b, nn.BatchNorm2d)}
    with torch.no_grad():
        for conv, (weight, bias) in zip(convs, folded, strict=True):
            if conv in after:
                spread = SPREAD / weight.std()
                conv.weight.copy_(weight * spread)
                after[conv].weight.fill_(1 / spread)
                after[conv].bias.copy_(bias)
                after[conv].running_var.fill_(1 - after[conv].eps)
            else:
                conv.weight.copy_(weight)
                conv.bias.copy_(bias)
        _normalise(net, {conv: after[conv] for conv in convs if conv in after}, batches)
    return net


def _normalise(net, after: dict, batches: Iterable[np.ndarray]) -> None:
    """Let each normalisation, which only scaled and shifted, take out the mean and spread of what it is given; its output stays."""
    given: dict = {conv: [] for conv in after}

    def look(conv: nn.Module, _: object, out: torch.Tensor) -> None:
        out = out.double()
        given[conv].append(torch.stack([out.mean((0, 2, 3)), (out**2).mean((0, 2, 3))]))

    hooks = [conv.register_forward_hook(look) for conv in after]
    for batch in batches:
        net(torch.from_numpy(batch))
    for hook in hooks:
        hook.remove()
    for conv, normed in after.items():
        mean, square = torch.stack(given[conv]).mean(0)
        deviation = torch.sqrt(square - mean**2 + normed.eps)
        normed.bias += mean * normed.weight
        normed.weight *= deviation
        normed.running_mean.copy_(mean)
        normed.running_var.copy_(deviation**2 - normed.eps)


def _in_order_of_use(net) -> list:
    """Its convolutions as the graph of an export has them."""
    used: list = []
    hooks = [
        m.register_forward_hook(lambda conv, *_: used.append(conv))
        for m in net.modules()
        if isinstance(m, nn.Conv2d)
    ]
    with torch.no_grad():
        net(torch.zeros(1, CHANNELS, 64, 64))
    for hook in hooks:
        hook.remove()
    return used
