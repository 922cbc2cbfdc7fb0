"""Builds the model folder that the recogniser loads.

`python -m models.recipe.build WEIGHTS --out OUT` builds it from training's result.
`python -m models.recipe.build --add-words` rebuilds only the graph of models/field-en from
models/lexicon.txt: all that a new word needs, as long as it is made of English sounds.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from models.recipe import acoustic, conf, graph, lexicon, strangers, weights
from models.recipe.graph import Costs
from models.recipe.lexicon import Lexicon

SHIPPED = lexicon.DEFAULT_PATH.with_name("field-en")
PRIOR_SCALE = 0.5
"""Share of the classes' log prior that training divides by and the builder folds back in."""


def build(
    model: acoustic.Model, words: Lexicon, out: Path, costs: Costs, search: conf.Search
) -> None:
    """Writes a whole model folder: am, conf, graph. Raises OSError."""
    (out / "am").mkdir(parents=True, exist_ok=True)
    (out / "am" / "final.mdl").write_bytes(acoustic.to_bytes(model))
    conf.write(out / "conf", search)
    graph.write(out / "graph", words, costs, lexicon.load(strangers.PATH))


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description="build the speech model folder")
    parser.add_argument("weights", type=Path, nargs="?", help="training's archive")
    parser.add_argument("--out", type=Path, default=SHIPPED, help="model folder to write")
    parser.add_argument("--lexicon", type=Path, default=lexicon.DEFAULT_PATH)
    parser.add_argument("--add-words", action="store_true", help="rebuild only the graph")
    args = parser.parse_args()
    words = lexicon.load(args.lexicon)
    if args.add_words:
        graph.write(args.out / "graph", words, Costs(), lexicon.load(strangers.PATH))
    elif args.weights:
        model = weights.load(args.weights, PRIOR_SCALE)
        build(model, words, args.out, Costs(), conf.Search())
    else:
        parser.error("either WEIGHTS or --add-words is needed")
    print(f"{args.out}: {len(words)} words")


if __name__ == "__main__":
    main()
