"""`python -m studio.learn`: see the package."""

import argparse


def main():
    parser = argparse.ArgumentParser(prog="studio.learn")
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("make", help="render training scenes")
    one.add_argument("folder")
    one.add_argument("--count", type=int, default=400)
    one.add_argument("--seed", type=int, default=1)
    one.add_argument("--falls", help="a file of `fall` to take falls from")
    one.add_argument("--narrow", action="store_true", help="scenes of the first worlds only")
    zero = commands.add_parser("fall", help="falls as a file, for `make` where Bullet is not at hand")
    zero.add_argument("file")
    zero.add_argument("--count", type=int, default=400)
    zero.add_argument("--seed", type=int, default=1)
    two = commands.add_parser("train", help="train, or go on training")
    two.add_argument("folder")
    two.add_argument("run")
    two.add_argument("--minutes", type=float, default=30, help="of the whole training")
    two.add_argument("--stop", type=float, default=1e9, help="minutes after which this call leaves off")
    two.add_argument("--crop", type=int, default=192, help="pixels of 0.5 mm, a multiple of 16")
    two.add_argument("--widths", default="24,64,112,160,80")
    two.add_argument("--blocks", default="1,2,2,2,2,2")
    two.add_argument("--peak", type=float, default=3e-3, help="highest learning rate")
    two.add_argument("--batch", type=int, default=192, help="crops to a step; some 8 without a GPU")
    two.add_argument("--seed", type=int, default=1)
    two.add_argument("--from", dest="start", help="exported weights to start from, their widths and blocks too")
    three = commands.add_parser("check", help="found and told right, by kind")
    three.add_argument("run")
    three.add_argument("--photos", help="folder of sample photos with their truths")
    three.add_argument("--scenes", help="folder of training scenes; the held out ones are used")
    three.add_argument("--only", default="", help="photos whose names have this in them")
    three.add_argument("--kept", help="folder that keeps what was read from the photos, for the next check")
    four = commands.add_parser("export", help="weights for the program")
    four.add_argument("run")
    four.add_argument("weights")
    four.add_argument("reference")
    five = commands.add_parser("blend", help="weights between those of two trainings")
    five.add_argument("first", help="exported weights")
    five.add_argument("second", help="exported weights of a training that went on from the first")
    five.add_argument("share", type=float, help="how much of the second")
    five.add_argument("weights")
    five.add_argument("reference")
    given = parser.parse_args()
    if given.command == "make":
        from .make import make

        make(given.folder, given.count, given.seed, given.falls, given.narrow)
    elif given.command == "fall":
        from .fall import keep

        keep(given.file, given.count, given.seed)
    elif given.command == "train":
        from .train import train

        numbers = lambda text: [int(n) for n in text.split(",")]  # noqa: E731
        train(given.folder, given.run, given.minutes, given.stop, given.crop, numbers(given.widths),
              numbers(given.blocks), given.peak, given.seed, given.batch, given.start)
    elif given.command == "check":
        from .check import check

        check(given.run, given.photos, given.scenes, given.only, given.kept)
    elif given.command == "blend":
        from .blend import blend

        blend(given.first, given.second, given.share, given.weights, given.reference)
    else:
        from .export import export

        export(given.run, given.weights, given.reference)


main()
