"""The network: what it sees is halved four times and doubled twice, with shortcuts."""

import torch
from torch import nn

# Channels of the output.
WHAT, VOTE, TURN, FACE, FORM = slice(0, 3), slice(3, 5), slice(5, 9), slice(9, 13), slice(13, 18)
SIZE, SEEN, SIDES, STUD, NOTCH = slice(18, 36), slice(36, 37), slice(37, 39), 39, slice(40, 42)
HEIGHT, MASK = 42, slice(43, 59)    # MASK: of the pixels around a cell, row by row, which show the same as it
OUTPUTS, INPUTS = 59, 6
SHIPPED = 42        # the program gets the first so many: heights and masks are no better yet than to learn by
WIDTHS, BLOCKS = (16, 48, 96, 128, 64), (1, 1, 2, 2, 1, 1)
LAYERS = ["stem", "d1", "d2", "d3", "u3", "u2", "head"]
CHAINS = ["e1", "e2", "e3", "e4", "r3", "r2"]
VOTE_MM = 16.0      # a vote of 1
HEIGHT_MM = 10.0    # a height of 1


def conv(inside, outside, size=3, step=1):
    """A convolution with what follows it in training; export folds the two into one."""
    return nn.Sequential(nn.Conv2d(inside, outside, size, step, size // 2, bias=False),
                         nn.BatchNorm2d(outside, momentum=0.05))


class Res(nn.Module):
    def __init__(self, width):
        super().__init__()
        self.a, self.b = conv(width, width), conv(width, width)
        nn.init.zeros_(self.b[1].weight)

    def forward(self, x):
        return torch.relu(x + self.b(torch.relu(self.a(x))))


def chain(width, count):
    return nn.Sequential(*[Res(width) for _ in range(count)])


class Net(nn.Module):
    def __init__(self, widths=WIDTHS, blocks=BLOCKS):
        super().__init__()
        self.widths, self.blocks = tuple(widths), tuple(blocks)
        w, b = widths, blocks
        self.stem, self.e1 = conv(INPUTS, w[0], 3, 2), chain(w[0], b[0])
        self.d1, self.e2 = conv(w[0], w[1], 3, 2), chain(w[1], b[1])
        self.d2, self.e3 = conv(w[1], w[2], 3, 2), chain(w[2], b[2])
        self.d3, self.e4 = conv(w[2], w[3], 3, 2), chain(w[3], b[3])
        self.u3, self.r3 = conv(w[3], w[2], 1), chain(w[2], b[4])
        self.u2, self.r2 = conv(w[2], w[1], 1), chain(w[1], b[5])
        self.head, self.out = conv(w[1], w[4]), nn.Conv2d(w[4], OUTPUTS, 1)

    def forward(self, x):
        twice = lambda y: nn.functional.interpolate(y, scale_factor=2, mode="nearest")  # noqa: E731
        x = self.e1(torch.relu(self.stem(x)))
        e2 = self.e2(torch.relu(self.d1(x)))
        e3 = self.e3(torch.relu(self.d2(e2)))
        e4 = self.e4(torch.relu(self.d3(e3)))
        x = self.r3(twice(self.u3(e4)) + e3)
        x = self.r2(twice(self.u2(x)) + e2)
        return self.out(torch.relu(self.head(x)))


def pairs(model):
    """All convolutions with their normalisations, by their names in the exported file."""
    for name in LAYERS:
        yield name, getattr(model, name)
    for name in CHAINS:
        for number, block in enumerate(getattr(model, name)):
            yield f"{name}.{number}.a", block.a
            yield f"{name}.{number}.b", block.b
