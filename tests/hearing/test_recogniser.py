"""The speech model: loading it, its words, and folders that are none."""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from companion.errors import DataFileError, ModelError
from companion.hearing import model_files
from companion.hearing.model_choice import find_model
from companion.hearing.recogniser import Doubt, Ear, Recogniser

# In a process of its own: kaldifst and vosk each carry an OpenFst, and one process
# that loads both hangs or crashes.
EMBED = """
import sys, kaldifst
graph = kaldifst.StdVectorFst.read(sys.argv[1])
graph.input_symbols = graph.output_symbols = kaldifst.SymbolTable.read_text(sys.argv[2])
graph.write(sys.argv[1])
"""


@pytest.fixture
def copy(model: Path, tmp_path: Path) -> Path:
    """The model in a folder of the user's own, to be spoiled."""
    return Path(shutil.copytree(model, tmp_path / "mine"))


def test_it_knows_the_words_of_its_trade(recogniser: Recogniser) -> None:
    assert {"zero", "point", "ohms", "volts", "yes", "no", "stop", "c", "y"} <= recogniser.words
    assert not [word for word in recogniser.words if word[0] in "<#["]
    assert recogniser.missing_words(["zero point ohms", "xylophone five", "no"]) == {"xylophone"}


def test_phrases_it_cannot_hear_are_left_out(recogniser: Recogniser) -> None:
    ear = recogniser.build(["yes", "xylophone yes", "yes", " ", "no"])
    assert json.loads(ear.FinalResult())["text"] == ""
    with pytest.raises(ModelError, match="none of what can be said"):
        recogniser.build(["xylophone", ""])


def test_a_turn_needs_almost_no_time_to_begin(recogniser: Recogniser) -> None:
    ears = [recogniser.build(["yes", "no"]) for _ in range(200)]
    assert len({id(ear) for ear in ears}) == 200


@pytest.mark.parametrize(
    "name", ["final.mdl", "mfcc.conf", "HCLr.fst", "Gr.fst", "disambig_tid.int"]
)
@pytest.mark.parametrize("fault", ["missing", "empty"])
def test_a_missing_file_is_named_before_anything_is_loaded(
    copy: Path, name: str, fault: str
) -> None:
    file = next(copy.rglob(name))
    file.unlink()
    if fault == "empty":
        file.touch()
    with pytest.raises(ModelError, match=rf"it has no .*{name}"):
        Recogniser(copy)


@pytest.mark.parametrize("name", ["final.mdl", "HCLr.fst", "Gr.fst", "model.conf", "words.txt"])
def test_half_a_copied_file_never_takes_the_program_down(copy: Path, name: str) -> None:
    file = next(copy.rglob(name))
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    with pytest.raises(ModelError, match=str(copy)):
        Recogniser(copy)


def test_a_word_list_that_breaks_off_in_a_number_is_refused(copy: Path) -> None:
    """The last word would otherwise be written for the sound of another."""
    listed = next(copy.rglob("words.txt"))
    listed.write_text(listed.read_text().rstrip()[:-1])
    with pytest.raises(ModelError, match="its last line breaks off"):
        Recogniser(copy)


def test_a_model_without_phrase_lists_is_told_apart(copy: Path) -> None:
    graph = next(copy.rglob("HCLr.fst"))
    graph.rename(graph.with_name("HCLG.fst"))
    with pytest.raises(ModelError, match=r"one piece \(HCLG.fst\).*Use a model with HCLr.fst"):
        Recogniser(copy)


def test_no_folder_and_no_graph(tmp_path: Path, copy: Path) -> None:
    with pytest.raises(ModelError, match="no such folder"):
        Recogniser(tmp_path / "none")
    next(copy.rglob("Gr.fst")).write_text("Page not found")
    with pytest.raises(ModelError, match=r"Gr\.fst is no graph"):
        Recogniser(copy)


def test_words_are_found_inside_the_graph_where_no_list_lies_beside_it(copy: Path) -> None:
    listed = next(copy.rglob("words.txt"))
    grammar = next(copy.rglob("Gr.fst"))
    expected = model_files.words(copy)
    subprocess.run([sys.executable, "-c", EMBED, str(grammar), str(listed)], check=True)
    listed.unlink()
    assert model_files.words(copy) == expected
    assert Recogniser(copy).missing_words(["yes xylophone"]) == {"xylophone"}


class Undecided:
    """Stands for vosk's recogniser after it heard something in two or three ways."""

    def __init__(self, *alternatives: tuple[str, float]) -> None:
        self._alternatives = [
            {"text": text, "confidence": score, "result": list(self._words(text))}
            for text, score in alternatives
        ]

    @staticmethod
    def _words(text: str) -> Iterator[dict[str, object]]:
        """Half a second a word, the last one always at the same time."""
        for place, word in enumerate(reversed(text.split())):
            yield {"word": word, "start": 9.5 - place / 2, "end": 10 - place / 2}

    def Result(self) -> str:  # noqa: N802, vosk's own name
        return json.dumps({"alternatives": self._alternatives})


def sureness(*alternatives: tuple[str, float]) -> dict[str, float]:
    ear = Ear(Undecided(*alternatives), Doubt(temperature=2.0))
    return {word["word"]: round(word["conf"], 3) for word in json.loads(ear.Result())["result"]}


def test_a_word_is_as_sure_as_the_alternatives_that_have_it() -> None:
    fifty_two = sureness(("fifty two", -10.0), ("fifteen two", -10.0), ("fifty", -60.0))
    assert fifty_two == {"two": 1.0, "fifty": 0.5}
    assert sureness(("fifty", -10.0), ("fifteen", -12.0))["fifty"] == pytest.approx(0.731)
    assert sureness(("fifty", -10.0)) == {"fifty": 1.0}


def test_two_ways_to_say_the_same_do_not_make_each_other_unsure() -> None:
    assert sureness(("it trips", -10.0), ("trips", -10.0)) == {"trips": 1.0, "it": 1.0}
    assert sureness(("trips", -10.0), ("no trips", -10.0))["trips"] == 1.0
    assert sureness(("no gas", -10.0), ("gas", -10.0))["no"] == 0.5


def test_floors_come_from_the_model_that_was_measured(copy: Path) -> None:
    tuned = copy / "hearing.toml"
    tuned.write_text("[confidence]\nreading = 0.62\nsafety = 0.91\n")
    measured = Recogniser(copy)
    assert measured.floors == {"usual": 0.62, "safety": 0.91}
    tuned.write_text("[confidence]\nreading = 62\n")
    with pytest.raises(DataFileError, match=r"hearing\.toml.*confidence\.reading.*62"):
        Recogniser(copy)


def test_the_model_asked_for_comes_before_the_rest(
    copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = Path(shutil.copytree(copy, tmp_path / "other"))
    monkeypatch.setenv("COMPANION_MODEL", str(other))
    assert find_model(str(copy)) == copy
    assert find_model(None) == other
    monkeypatch.setenv("COMPANION_MODEL", str(tmp_path / "none"))
    with pytest.raises(ModelError, match=r"none.*no such folder"):
        find_model(None)


def test_a_model_that_the_user_put_in_place_comes_before_the_shipped_one(
    copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    models = tmp_path / "models"
    models.mkdir()
    monkeypatch.delenv("COMPANION_MODEL", raising=False)
    monkeypatch.setattr("companion.datafiles.folder", lambda name: tmp_path / name)
    with pytest.raises(ModelError, match="No speech model was found"):
        find_model(None)
    shutil.copytree(copy, models / "field-en")
    (models / "notes").mkdir()
    assert find_model(None) == models / "field-en"
    shutil.copytree(copy, models / "vosk-model-of-mine")
    assert find_model(None) == models / "vosk-model-of-mine"
