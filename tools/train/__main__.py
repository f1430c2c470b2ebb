"""Train the networks: python -m tools.train --data DIR --out DIR --only finder --seconds 200.

Writes NAME.pt (averaged weights) and NAME.json (settings, losses, pictures seen), at the
end and about once a minute on the way, so that a run cut short leaves its best weights.
With --room the networks are trained side by side while the folder is still being filled.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import torch

from tools.train.keeper import Keeper
from tools.train.loading import load
from tools.train.pictures import STORED
from tools.train.together import Source, train_together
from vision.network import NAMES


def main() -> None:
    """Parse the arguments and train what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--only", nargs="+", default=NAMES)
    parser.add_argument("--seconds", type=float, default=200.0, help="per network")
    parser.add_argument("--until", type=float, help="stop at this time, seconds since 1970")
    parser.add_argument(
        "--devices",
        nargs="+",
        default=["cuda" if torch.cuda.is_available() else "cpu"],
        help="one for all networks, or one for each",
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--without", nargs="*", default=[], help="ingredients to switch off")
    parser.add_argument("--from", type=Path, dest="start", help="weights to go on from")
    parser.add_argument("--part", help="of the network, to train alone; the rest stays as it is")
    parser.add_argument("--teachers", type=Path, nargs="*", default=[], help="weights to ask, too")
    parser.add_argument("--stored", type=int, nargs=2, default=STORED, help="pixels of a picture")
    parser.add_argument("--room", type=int, help="pictures to have room for while they come in")
    parser.add_argument("--first", type=int, default=1500, help="with --room: pictures to wait for")
    parser.add_argument("--threads", action="store_true", help="with --room: no processes")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    work = Keeper(
        arguments.out,
        arguments.seed,
        tuple(arguments.without),
        start=arguments.start,
        part=arguments.part,
        teachers=tuple(arguments.teachers),
    )
    figures = "number" in arguments.only
    stored = tuple(arguments.stored)
    if arguments.room is None:
        pictures = load(arguments.data, arguments.devices[0], stored=stored, figures=figures)
        print(f"{int(pictures.filled)} pictures loaded", flush=True)
        for name in arguments.only:
            work(name, pictures, arguments.until or time.time() + arguments.seconds)
        return
    each = arguments.devices * (len(arguments.only) if len(arguments.devices) == 1 else 1)
    train_together(
        Source(arguments.data, arguments.room, arguments.first, stored=stored, figures=figures),
        dict(zip(arguments.only, each, strict=True)),
        work,
        until=arguments.until or time.time() + arguments.seconds,
        in_threads=arguments.threads,
    )


if __name__ == "__main__":
    main()
