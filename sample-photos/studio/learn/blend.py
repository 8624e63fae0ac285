"""Weights between those of two trainings, the second of which went on from the first: what a short training on other
scenes wins without losing what the long one knew (Wortsman et al. 2022, Robust fine-tuning of zero-shot models).
Channels that the first did not have are read off the blended features anew, by a linear layer."""

from pathlib import Path

import torch
from safetensors.torch import load_file, save_file, safe_open
from torch.nn import functional as F

from . import data, net as nets, unfold
from .export import answer_file

KNOWN = 42          # channels that both have
STEPS, ROWS = 1500, 16384
SIDE = 320          # pixels of a crop


def blend(first, second, share, scenes, weights, reference):
    """Writes weights this share of the way from `first` to `second`, both exported files, and what they answer."""
    torch.manual_seed(3)
    one, two = load_file(first), load_file(second)
    with safe_open(second, "pt") as file:
        told = file.metadata()
    mixed = {}
    for name, new in two.items():
        new, old = new.float(), one[name].float()
        if name.startswith("out."):
            mixed[name] = new.clone()
            mixed[name][:KNOWN] = (1 - share) * old[:KNOWN] + share * new[:KNOWN]
        else:
            mixed[name] = (1 - share) * old + share * new
    Path(weights).parent.mkdir(parents=True, exist_ok=True)
    _save(mixed, told, weights)
    height, mask = _read_off(_model(weights, told, scenes), scenes)
    mixed["out.w"][nets.HEIGHT, :, 0, 0], mixed["out.b"][nets.HEIGHT] = height
    mixed["out.w"][nets.MASK, :, 0, 0], mixed["out.b"][nets.MASK] = mask
    _save(mixed, told, weights)
    answer_file(load_file(weights), unfold.sizes(told)[1], reference)


def _save(found, told, path):
    save_file({name: tensor.half().contiguous() for name, tensor in found.items()}, path, told)


def _model(weights, told, scenes):
    model = nets.Net(*unfold.sizes(told))
    some = data.Scenes()
    some.add(data.packed(sorted(Path(scenes).glob("*.npz"))[:8]))
    unfold.unfold(model, weights, data.crops(some.some(8), 192)[0])
    return model.eval()


def _read_off(model, scenes):
    """Weight and bias of heights (least squares, then absolute error) and of masks (logistic), over the scenes but
    each fifth, on which it says how well they do."""
    seen = {}
    model.head.register_forward_hook(lambda _, __, out: seen.update(x=torch.relu(out)))
    paths = sorted(Path(scenes).glob("*.npz"))
    fit = _rows(model, seen, [p for k, p in enumerate(paths) if k % 5], True)
    test = _rows(model, seen, [p for k, p in enumerate(paths) if k % 5 == 0], False)
    x, height, there, mask = fit
    ones = torch.cat([x[there], torch.ones(int(there.sum()), 1)], 1).double()
    start = torch.linalg.solve(ones.T @ ones + 10 * torch.eye(ones.shape[1]).double(), ones.T @ height[there].double())
    line = torch.nn.Parameter(start.float())
    weight = torch.nn.Parameter(model.out.weight[nets.MASK, :, 0, 0].detach().clone())
    bias = torch.nn.Parameter(model.out.bias[nets.MASK].detach().clone())
    optimiser = torch.optim.Adam([{"params": [line], "lr": 2e-3}, {"params": [weight, bias], "lr": 3e-3}])
    for step in range(STEPS):
        pick = torch.randint(len(x), (ROWS,))
        off = F.smooth_l1_loss(x[pick] @ line[:-1] + line[-1], height[pick], beta=0.1, reduction="none")
        loss = (off * there[pick]).sum() / there[pick].sum() + F.binary_cross_entropy_with_logits(
            x[pick] @ weight.T + bias, mask[pick].float())
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        if step % 300 == 299:
            for group in optimiser.param_groups:
                group["lr"] *= 0.5
    with torch.no_grad():
        x, height, there, mask = test
        off = nets.HEIGHT_MM * (x @ line[:-1] + line[-1] - height)[there].abs()
        same, edge = (x @ weight.T + bias > 0) == mask, ~mask.all(1)
        print(f"heights off by {float(off.mean()):.1f} mm in the mean, {float(off.median()):.1f} in the middle; "
              f"of a cell's pixels {100 * float(same.float().mean()):.1f} % right, at an edge {100 * float(same[edge].float().mean()):.1f} %")
    return (line[:-1].detach(), line[-1].detach()), (weight.detach(), bias.detach())


def _rows(model, seen, paths, as_photographed):
    """Features, heights, whether a piece is there, and masks of cells: all of pieces, some of the tray."""
    rows = []
    for path in paths:
        scene = data.Scenes()
        scene.add(data.packed([path]))
        if not len(scene):
            continue    # one that `packed` leaves out
        with torch.no_grad():
            view, _, numbers, weights = data.crops(scene.of([0, 0]), SIDE) if as_photographed else data.whole(scene.of([0]))
            model(view)
        there = weights[:, 0].reshape(-1) > 0
        keep = there | (torch.rand(len(there)) < 0.15)
        flat = lambda part: part.permute(0, 2, 3, 1).reshape(-1, part.shape[1])[keep]  # noqa: E731
        rows.append((flat(seen["x"]), numbers[:, 12].reshape(-1)[keep], there[keep], flat(numbers[:, 13:29]).bool()))
    return [torch.cat(part) for part in zip(*rows)]
