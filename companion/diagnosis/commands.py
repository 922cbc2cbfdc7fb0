"""The calculator as commands, for the program's own command line to take in."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from companion.diagnosis.calculator import (
    Result,
    cable_loop,
    coil_verdict,
    distance_to_short,
    fuse_verdict,
    va_budget,
)

if TYPE_CHECKING:
    from argparse import _SubParsersAction

    Subparsers = _SubParsersAction[argparse.ArgumentParser]


def add_commands(subparsers: Subparsers) -> None:
    """Add ``distance``, ``loop``, ``budget``, ``fuse`` and ``coil``.

    Each leaves ``run`` in the parsed arguments: a function of them that gives a ``Result``,
    and raises ``ValueError`` or ``KeyError`` where they make no sense.
    """
    parser = _command(subparsers, "distance", "how far out a short is", _distance)
    parser.add_argument("reading_ohm", type=float, help="ohms read, leads in it")
    parser.add_argument("--leads", type=float, default=0.0, help="ohms of the leads, touched")
    _cable(parser)
    parser.add_argument("--fault", type=float, nargs=2, default=(0.0, 0.0),
                        metavar=("LEAST", "MOST"), help="ohms at the fault itself")  # fmt: skip
    parser.add_argument("--material", default="copper", help="(default: %(default)s)")
    parser.add_argument("--chassis", action="store_true", help="the return is the chassis")
    parser.add_argument("--at", type=_pair, action="append", default=[], metavar="NAME=FEET",
                        help="a landmark along the cable")  # fmt: skip

    _cable(_command(subparsers, "loop", "ohms of a cable, out and back", _loop))

    parser = _command(subparsers, "budget", "all calls together against the transformer", _budget)
    parser.add_argument("rating_va", type=float)
    parser.add_argument("load", type=_span, nargs="+", metavar="NAME=VA", help="or NAME=VA-VA")

    parser = _command(subparsers, "fuse", "whether a fault opens a blade fuse", _fuse)
    parser.add_argument("rating_ampere", type=float)
    parser.add_argument("loop_ohm", type=float)
    parser.add_argument("--marked", type=float, help="amperes by the board's marking")

    parser = _command(subparsers, "coil", "what a coil's ohms say", _coil)
    parser.add_argument("reading_ohm", type=_ohms, help="ohms, or OL")
    parser.add_argument("--family", default="contactor", help="(default: %(default)s)")
    parser.add_argument("--leads", type=float, default=0.0)
    parser.add_argument("--label", type=float, nargs=2, metavar=("LEAST", "MOST"),
                        help="healthy ohms by the part's own label")  # fmt: skip


def _command(
    subparsers: Subparsers, name: str, about: str, run: Callable[[argparse.Namespace], Result]
) -> argparse.ArgumentParser:
    parser = subparsers.add_parser(name, help=about, description=about)
    parser.set_defaults(run=run)
    return parser


def _cable(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--awg", type=int, default=18, help="(default: %(default)s)")
    parser.add_argument("--feet", type=float, required=True, help="length of the cable")
    parser.add_argument("--celsius", type=float, default=20.0, help="(default: %(default)s)")


def _pair(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    return name, float(value)


def _span(text: str) -> tuple[str, tuple[float, float]]:
    name, _, value = text.partition("=")
    least, _, most = value.partition("-")
    return name, (float(least), float(most or least))


def _ohms(text: str) -> float | None:
    return None if text.upper() == "OL" else float(text)


def _distance(args: Any) -> Result:
    return distance_to_short(
        args.reading_ohm, args.leads, args.awg, args.feet, args.celsius,
        fault_ohm=tuple(args.fault), material=args.material, through_chassis=args.chassis,
        landmarks=dict(args.at),
    )  # fmt: skip


def _loop(args: Any) -> Result:
    return cable_loop(args.awg, args.feet, args.celsius)


def _budget(args: Any) -> Result:
    return va_budget(dict(args.load), args.rating_va)


def _fuse(args: Any) -> Result:
    return fuse_verdict(args.rating_ampere, args.loop_ohm, marked_ampere=args.marked)


def _coil(args: Any) -> Result:
    healthy = None if args.label is None else tuple(args.label)
    return coil_verdict(args.reading_ohm, args.family, leads_ohm=args.leads, healthy_ohm=healthy)
