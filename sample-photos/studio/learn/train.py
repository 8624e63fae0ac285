"""Training on the processor, against the clock: the learning rate follows the time that is
left, and a running mean of the weights is what is kept for use."""

import copy
import time
from pathlib import Path

import torch
from torch.nn import functional as F

from . import data, net as nets

DECAY, EMA = 0.02, 0.998


def losses(out, classes, numbers, weights):
    """One number per concern; see the contract of the output's channels."""
    there, listed, square = weights.unbind(1)
    total, known = there.sum() + 1, listed.sum() + 1
    smooth = lambda a, b, beta: F.smooth_l1_loss(a, b, beta=beta, reduction="none").sum(1)  # noqa: E731
    each = lambda part, n: (F.cross_entropy(out[:, part], classes[:, n], reduction="none")  # noqa: E731
                            * listed).sum() / known
    turn = out[:, nets.TURN]
    oblong = (smooth(turn[:, :2], numbers[:, 2:4], 0.2) * listed * (1 - square)).sum() / known
    even = (smooth(turn[:, 2:], numbers[:, 4:6], 0.2) * listed * square).sum() / known
    return {
        "what": F.cross_entropy(out[:, nets.WHAT], classes[:, 0], weight=out.new_tensor([1, 1, 2.0])),
        "vote": 3 * (smooth(out[:, nets.VOTE], numbers[:, :2], 0.06) * there).sum() / total,
        "turn": 1.5 * (oblong + even),
        "face": 0.7 * each(nets.FACE, 1), "form": 0.5 * each(nets.FORM, 2), "size": 0.8 * each(nets.SIZE, 3),
        "seen": 0.3 * (F.binary_cross_entropy_with_logits(out[:, nets.SEEN][:, 0], numbers[:, 6].clamp(0, 1),
                                                          reduction="none") * listed).sum() / known,
        "stud": 2.0 * (F.binary_cross_entropy_with_logits(out[:, nets.STUD], numbers[:, 9], reduction="none")
                       * (0.1 + listed)).sum() / (known + 0.1 * listed.numel()),
        "sides": 1.5 * (smooth(out[:, nets.SIDES], numbers[:, 7:9], 0.1) * listed).sum() / known,
    }


def train(folder, run, minutes, crop, widths, blocks, threads, peak, seed, batch):
    torch.set_num_threads(threads)
    torch.manual_seed(seed)
    run = Path(run)
    run.mkdir(parents=True, exist_ok=True)
    model = nets.Net(widths, blocks)
    state_path = run / "state.pt"
    steps = 0
    if state_path.exists():
        state = torch.load(state_path)
        model = nets.Net(state["widths"], state["blocks"])
        model.load_state_dict(state["model"])
        steps = state["steps"]
    mean = copy.deepcopy(model)
    if state_path.exists():
        mean.load_state_dict(state["mean"])
    model.to(memory_format=torch.channels_last)
    optimiser = torch.optim.AdamW(model.parameters(), peak, weight_decay=DECAY, betas=(0.9, 0.99))
    loader = iter(torch.utils.data.DataLoader(data.Scenes(folder, crop, seed + steps), batch, num_workers=1,
                                              prefetch_factor=6))
    began, cpu, shown, first = time.time(), time.process_time(), {}, steps
    while (spent := (time.time() - began) / (60 * minutes)) < 1:
        warm = min(1, (steps - first + 1) / 80)
        for group in optimiser.param_groups:
            group["lr"] = peak * warm * max(0.01, (1 - spent) ** 1.0)
        seen, classes, numbers, weights = next(loader)
        out = model(seen.contiguous(memory_format=torch.channels_last))
        parts = losses(out, classes, numbers, weights)
        loss = sum(parts.values())
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(model.parameters(), 5.0)
        optimiser.step()
        steps += 1
        keep = min(EMA, (steps - first + 1) / (steps - first + 10))
        with torch.no_grad():
            for ours, theirs in zip(mean.state_dict().values(), model.state_dict().values()):
                ours.lerp_(theirs, 1 - keep) if ours.is_floating_point() else ours.copy_(theirs)
        for name, part in parts.items():
            shown[name] = shown.get(name, part.item()) * 0.97 + 0.03 * part.item()
        if steps % 100 == 0:
            print(steps, f"{(time.time() - began) / 60:.1f} min", f"{time.process_time() - cpu:.0f} cpu s",
                  " ".join(f"{k} {v:.3f}" for k, v in shown.items()), flush=True)
        if steps % 300 == 0:
            _save(state_path, model, mean, steps)
    _save(state_path, model, mean, steps)


def _save(path, model, mean, steps):
    part = path.with_suffix(".part")
    torch.save({"model": model.state_dict(), "mean": mean.state_dict(), "steps": steps,
                "widths": model.widths, "blocks": model.blocks}, part)
    part.rename(path)


def trained(run):
    """The mean of the weights, for use."""
    state = torch.load(Path(run) / "state.pt")
    model = nets.Net(state["widths"], state["blocks"])
    model.load_state_dict(state["mean"])
    return model.eval(), state["steps"]
