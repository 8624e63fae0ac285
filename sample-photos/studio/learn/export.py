"""Weights for the program, and one answer to compare with."""

from pathlib import Path

import torch
from safetensors.torch import save_file

from . import net as nets
from .net import pairs
from .train import trained


def folded(pair):
    """A convolution and the normalisation behind it as one weight and one bias."""
    weight, norm = pair[0].weight, pair[1]
    scale = norm.weight / torch.sqrt(norm.running_var + norm.eps)
    return weight * scale[:, None, None, None], norm.bias - norm.running_mean * scale


def tensors(model):
    found = {}

    def put(name, weight, bias):
        found[f"{name}.w"], found[f"{name}.b"] = weight.detach().half().contiguous(), bias.detach().half().contiguous()

    for name, pair in pairs(model):
        put(name, *folded(pair))
    put("out", model.out.weight[:nets.SHIPPED], model.out.bias[:nets.SHIPPED])
    return found


def answer(found, x, blocks):
    """What a program that reads these weights is to give: the network by its plain layers."""
    F = torch.nn.functional
    get = {name: tensor.float() for name, tensor in found.items()}

    def layer(x, name, step=1):
        weight = get[f"{name}.w"]
        return F.conv2d(x, weight, get[f"{name}.b"], step, weight.shape[-1] // 2)

    def chain(x, name, count):
        for n in range(count):
            x = torch.relu(x + layer(torch.relu(layer(x, f"{name}.{n}.a")), f"{name}.{n}.b"))
        return x

    twice = lambda y: F.interpolate(y, scale_factor=2, mode="nearest")  # noqa: E731
    x = chain(torch.relu(layer(x, "stem", 2)), "e1", blocks[0])
    e2 = chain(torch.relu(layer(x, "d1", 2)), "e2", blocks[1])
    e3 = chain(torch.relu(layer(e2, "d2", 2)), "e3", blocks[2])
    e4 = chain(torch.relu(layer(e3, "d3", 2)), "e4", blocks[3])
    x = chain(twice(layer(e4, "u3")) + e3, "r3", blocks[4])
    x = chain(twice(layer(x, "u2")) + e2, "r2", blocks[5])
    return layer(torch.relu(layer(x, "head")), "out")


def export(run, weights, reference):
    model, steps = trained(run)
    found = tensors(model)
    told = {"format": "2", "widths": ",".join(map(str, model.widths)), "blocks": ",".join(map(str, model.blocks))}
    Path(weights).parent.mkdir(parents=True, exist_ok=True)
    save_file(found, weights, told)
    x, out = answer_file(found, model.blocks, reference)
    with torch.no_grad():
        off = (out - model(x)[:, :nets.SHIPPED]).abs().max()
    print(f"{steps} steps, {sum(t.numel() for t in found.values())} weights, "
          f"f16 against f32 at most {float(off):.4f} apart")


def answer_file(found, blocks, reference):
    """One input and what these weights answer, as a file to hold a program to."""
    maker = torch.Generator().manual_seed(1)
    coarse = torch.randn(1, 6, 16, 24, generator=maker)
    x = torch.nn.functional.interpolate(coarse, scale_factor=4, mode="bilinear") * 0.8
    x = x + 0.1 * torch.randn(x.shape, generator=maker)
    with torch.no_grad():
        out = answer(found, x, blocks)
    Path(reference).parent.mkdir(parents=True, exist_ok=True)
    save_file({"input": x[0].contiguous(), "output": out[0].contiguous()}, reference)
    return x, out
