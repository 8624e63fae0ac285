"""A training's start from weights that were exported, whose normalisations are folded away."""

import torch
from safetensors.torch import load_file, safe_open

from . import net as nets

# What an output channel of a file is in today's: in the first format forms had two fewer, and there was no notch.
_PLACES = {"1": [*range(16), *range(18, 40)], "2": list(range(nets.SHIPPED))}
NEW_FORM = -3.0         # a form's logit before it is learnt


def read(path):
    """The file's tensors, and its properties."""
    with safe_open(path, "pt") as file:
        told = file.metadata()
    return {name: tensor.float() for name, tensor in load_file(path).items()}, told


def sizes(told):
    return tuple([int(n) for n in told[name].split(",")] for name in ("widths", "blocks"))


@torch.no_grad()
def unfold(model, path, seen):
    """Puts a file's weights into a network. Each normalisation takes the mean and the variance
    that its convolution really gives for the pictures `seen`, and undoes them by its own weight
    and bias: so the network says the same as the file's, in training and in use."""
    found, told = read(path)
    device = seen.device
    ready, hooks = {name: tensor.to(device) for name, tensor in found.items()}, []

    def settle(norm, bias):
        def at_once(_, __, given):
            variance, mean = torch.var_mean(given.float(), (0, 2, 3), correction=0)
            norm.running_mean.copy_(mean)
            norm.running_var.copy_(variance)
            norm.weight.copy_((variance + norm.eps).sqrt())
            norm.bias.copy_(bias + mean)
        return at_once

    for name, (kernel, norm) in nets.pairs(model):
        kernel.weight.copy_(ready[f"{name}.w"])
        hooks.append(kernel.register_forward_hook(settle(norm, ready[f"{name}.b"])))
    places = _PLACES[told["format"]]
    model.out.weight.mul_(0.05)
    model.out.bias.zero_()
    if told["format"] == "1":
        model.out.bias[nets.FORM] = NEW_FORM
    model.out.weight[places], model.out.bias[places] = ready["out.w"], ready["out.b"]
    model.eval()
    model(seen)         # layer by layer, as it goes
    for hook in hooks:
        hook.remove()
    return model.train()
