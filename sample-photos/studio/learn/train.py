"""Training against the clock, on a GPU where there is one, or on several of one host under torchrun:
the learning rate follows the time that is left, and a running mean of the weights is what is kept
for use."""

import os
import time
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from pathlib import Path

import torch
from torch import distributed
from torch.nn import functional as F

from . import data, net as nets, unfold

DECAY, EMA = 0.05, 0.999
WARM = 300              # steps to the highest learning rate
AT_ONCE = 200           # scenes taken in between two steps


def losses(out, classes, numbers, weights):
    """One number per concern; see the contract of the output's channels."""
    there, listed, is_oblong, is_square, is_corner = weights.unbind(1)
    total, known = there.sum() + 1, listed.sum() + 1
    smooth = lambda a, b, beta: F.smooth_l1_loss(a, b, beta=beta, reduction="none").sum(1)  # noqa: E731
    each = lambda part, n: (F.cross_entropy(out[:, part], classes[:, n], reduction="none")  # noqa: E731
                            * listed).sum() / known
    turn = out[:, nets.TURN]
    oblong = (smooth(turn[:, :2], numbers[:, 2:4], 0.2) * listed * is_oblong).sum() / known
    even = (smooth(turn[:, 2:], numbers[:, 4:6], 0.2) * listed * is_square).sum() / known
    corner = listed * is_corner
    return {
        "what": F.cross_entropy(out[:, nets.WHAT], classes[:, 0], weight=out.new_tensor([1, 1, 2.0])),
        "vote": 3 * (smooth(out[:, nets.VOTE], numbers[:, :2], 0.06) * there).sum() / total,
        "turn": 1.5 * (oblong + even),
        # By the corners' own number: they are few.
        "notch": 0.4 * (smooth(out[:, nets.NOTCH], numbers[:, 10:12], 0.2) * corner).sum() / (corner.sum() + 100),
        "face": 0.7 * each(nets.FACE, 1), "form": 0.5 * each(nets.FORM, 2), "size": 0.8 * each(nets.SIZE, 3),
        "seen": 0.3 * (F.binary_cross_entropy_with_logits(out[:, nets.SEEN][:, 0], numbers[:, 6].clamp(0, 1),
                                                          reduction="none") * listed).sum() / known,
        "stud": 2.0 * (F.binary_cross_entropy_with_logits(out[:, nets.STUD], numbers[:, 9], reduction="none")
                       * (0.1 + listed)).sum() / (known + 0.1 * listed.numel()),
        "height": 1.5 * (smooth(out[:, nets.HEIGHT:nets.HEIGHT + 1], numbers[:, 12:13], 0.1) * there).sum() / total,
        "mask": F.binary_cross_entropy_with_logits(out[:, nets.MASK], numbers[:, 13:29]),
        "sides": 1.5 * (smooth(out[:, nets.SIDES], numbers[:, 7:9], 0.1) * listed).sum() / known,
    }


class _Feed:
    """Scenes of a folder, or one process' share of them; those that come to it meanwhile are read beside
    the training."""

    def __init__(self, folder, device, held, share=(0, 1)):
        self.scenes, self.pool, self.coming = data.Scenes(device), ThreadPoolExecutor(1), None
        self.find = lambda: [p for p in data.files(folder, held=held, share=share) if p.name not in self.scenes.names]
        while paths := self.find():
            with ThreadPoolExecutor(8) as pool:
                for packed in pool.map(data.packed, [paths[n:n + AT_ONCE] for n in range(0, len(paths), AT_ONCE)]):
                    self.scenes.add(packed)

    def look(self):
        if self.coming is None:
            if paths := self.find()[:AT_ONCE]:
                self.coming = self.pool.submit(data.packed, paths)
        elif self.coming.done():
            self.scenes.add(self.coming.result())
            self.coming = None


class _Team:
    """The processes that train one network together, one for each GPU; or this one alone."""

    def __init__(self, device):
        self.device, self.size = device, int(os.environ.get("WORLD_SIZE", 1))
        self.rank = int(os.environ.get("RANK", 0))
        if self.size > 1:
            distributed.init_process_group("nccl" if device.startswith("cuda") else "gloo")

    @staticmethod
    def own_device():
        if not torch.cuda.is_available():
            return "cpu"
        own = int(os.environ.get("LOCAL_RANK", 0))
        torch.cuda.set_device(own)
        return f"cuda:{own}"

    def alike(self, model):
        """Everybody starts as the first does."""
        if self.size > 1:
            for part in model.state_dict().values():
                distributed.broadcast(part, 0)

    def average(self, model):
        """The mean of everybody's gradients, for everybody."""
        if self.size > 1:
            parts = [part.grad for part in model.parameters()]
            whole = torch.cat([part.flatten() for part in parts])
            distributed.all_reduce(whole)
            pieces = (whole / self.size).split([part.numel() for part in parts])
            torch._foreach_copy_(parts, [piece.view_as(part) for piece, part in zip(pieces, parts)])

    def first_says(self, number):
        """The first one's number, for everybody."""
        if self.size > 1:
            told = torch.tensor(number, dtype=torch.float64, device=self.device)
            distributed.broadcast(told, 0)
            number = float(told)
        return number


def train(folder, run, minutes, stop, crop, widths, blocks, peak, seed, batch, start=None):
    """Trains for `minutes` altogether, and leaves off after `stop` of them; the next call goes
    on. Where a training has come to its end, the next one starts from its mean weights; the
    first from the exported weights `start`, if there are any."""
    device = _Team.own_device()
    team = _Team(device)
    cuda = device.startswith("cuda")
    torch.backends.cudnn.benchmark = True
    torch.set_float32_matmul_precision("high")
    run = Path(run)
    run.mkdir(parents=True, exist_ok=True)
    half_way = run / "half-way.pt"
    before = next((torch.load(path, map_location=device) for path in (half_way, run / "state.pt") if path.exists()), None)
    if before:
        widths, blocks = before["widths"], before["blocks"]
    elif start:
        widths, blocks = unfold.sizes(unfold.read(start)[1])
    torch.manual_seed(seed)
    model = nets.Net(widths, blocks).to(device, memory_format=torch.channels_last)
    feed, held = _Feed(folder, device, False, (team.rank, team.size)), _Feed(folder, device, True)
    if start and not before:
        seen = [data.crops(feed.scenes.some(32), crop)[0] for _ in range(8)]
        unfold.unfold(model, start, torch.cat(seen))
    team.alike(model)
    mean = deepcopy(model)
    optimiser = torch.optim.AdamW(model.parameters(), peak, weight_decay=DECAY, betas=(0.9, 0.99))
    steps, spent = 0, 0.0
    if before:
        steps = before["steps"]
        mean.load_state_dict(before["mean"])
        model.load_state_dict(before.get("model", before["mean"]))
        if "optimiser" in before:
            optimiser.load_state_dict(before["optimiser"])
            spent = before["spent"]
    # Not the losses: torch 2.11 fails to build what it fuses them into.
    fast = torch.compile if cuda else lambda call: call
    cut, see = fast(data.crops), fast(model)
    if team.rank == 0:
        print(f"{len(feed.scenes)} scenes, {len(held.scenes)} held out, {steps} steps so far", flush=True)
    torch.manual_seed(seed + steps + 1000 * team.rank)      # each its own crops
    pairs = [(ours, theirs) for ours, theirs in zip(mean.state_dict().values(), model.state_dict().values())
             if ours.is_floating_point()]
    ours, theirs = (list(part) for part in zip(*pairs))
    began, shown, said, first, at_first = time.time(), {}, time.time(), steps, team.first_says(spent)
    while spent < 60 * minutes and spent - at_first < 60 * stop:
        for group in optimiser.param_groups:
            group["lr"] = peak * min(1, (steps - first + 1) / WARM) * max(0.01, 1 - spent / (60 * minutes))
        seen, classes, numbers, weights = cut(feed.scenes.some(batch), crop)
        with torch.autocast(device, torch.bfloat16, enabled=cuda):
            out = see(seen.contiguous(memory_format=torch.channels_last))
        parts = losses(out.float(), classes, numbers, weights)
        optimiser.zero_grad()
        sum(parts.values()).backward()
        team.average(model)
        torch.nn.utils.clip_grad_norm_(model.parameters(), 5.0)
        optimiser.step()
        steps += 1
        with torch.no_grad():
            torch._foreach_lerp_(ours, theirs, 1 - min(EMA, steps / (steps + 10)))
            for name, part in parts.items():
                shown[name] = shown[name] * 0.99 + 0.01 * part.detach() if name in shown else part.detach()
        if steps % 10 == 0:
            feed.look()
            if cuda:
                torch.cuda.synchronize()        # so that the clock is true
            spent = team.first_says(at_first + time.time() - began)
        if team.rank == 0 and time.time() - said > 30:
            said = time.time()
            print(steps, f"{spent / 60:.1f} min, {len(feed.scenes)} scenes, {team.size * (steps - first) * batch / max(1, spent - at_first):.0f} crops/s:",
                  _told(shown), "| held out:", _told(_on_held(mean, held.scenes)), flush=True)
            _save(run, model, mean, optimiser, steps, spent)
    if team.size > 1:
        distributed.destroy_process_group()
    if team.rank:
        return
    _save(run, model, mean, optimiser, steps, spent)
    if spent >= 60 * minutes:
        half_way.unlink()
    print(steps, "steps;", _told(shown), "| held out:", _told(_on_held(mean, held.scenes)), flush=True)


def _told(parts):
    return " ".join(f"{name} {float(part):.3f}" for name, part in parts.items())


@torch.no_grad()
def _on_held(model, scenes, at_once=16):
    model.eval()
    total = {}
    for start in range(0, len(scenes), at_once):
        seen, *truth = data.whole(scenes.of(slice(start, start + at_once)))
        for name, part in losses(model(seen), *truth).items():
            total[name] = total.get(name, 0) + part * len(seen) / len(scenes)
    model.train()
    return total


def _save(run, model, mean, optimiser, steps, spent):
    told = {"mean": mean.state_dict(), "steps": steps, "widths": model.widths, "blocks": model.blocks}
    more = {"model": model.state_dict(), "optimiser": optimiser.state_dict(), "spent": spent}
    for name, state in (("state", told), ("half-way", told | more)):
        torch.save(state, run / f"{name}.part")
        (run / f"{name}.part").rename(run / f"{name}.pt")


def trained(run):
    """The mean of the weights, for use."""
    state = torch.load(Path(run) / "state.pt", map_location="cpu")
    model = nets.Net(state["widths"], state["blocks"])
    model.load_state_dict(state["mean"])
    return model.eval(), state["steps"]
