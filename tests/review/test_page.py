"""The page of a call: all of it there, nothing of it alive, nothing fetched."""

from __future__ import annotations

import random
import re
from html.parser import HTMLParser

from companion.datafiles import folder
from companion.journal import JOURNAL, Journal, read
from companion.messages import CallOpened, Note, Prompt, Spoken, Taken
from companion.review import review_page
from companion.review.facts import gather, worded
from companion.understood import Utterance
from tests.conftest import opened

SEEDS = (
    "<script>window.pwned=1</script>", "</script><script>pwned=1</script>", "</style>",
    "<svg/onload=pwned=1>", "\"><img src=x onerror=pwned=1>", "' onmouseover='pwned=1",
    "{{ 7*7 }}", "{% for x in y %}", "<!-- ", "-->", "]]>", "&lt;b&gt;", "&#x3c;script&#x3e;",
    "javascript:alert(1)", "\u202egnp.exe", "<iframe src=//evil.test>", "<a href=x>", "</title>",
    "</dialog>", "<base href=//evil.test>", "<meta http-equiv=refresh content=0>", "\u2028", "\x01",
    "`${pwned=1}`", "\\u003cb>", "<svg><a xlink:href=javascript:x>", "=cmd|' /C calc'!A0", "ohms",
    "zero point five", "Ω", "…",
)  # fmt: skip


def hostile(count: int) -> list[str]:
    rng = random.Random(1)
    return ["".join(rng.choices(SEEDS, k=rng.randint(1, 4))) for _ in range(count)]


class Shape(HTMLParser):
    """Which elements with which attributes a page has, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.shapes: set[tuple[str, tuple[str, ...]]] = set()
        self.text: list[str] = []
        self.addresses: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag, attrs) -> None:
        self.shapes.add((tag, tuple(name for name, _ in attrs)))
        self.addresses += [value for name, value in attrs if name in {"src", "href"}]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def page_of(place, **how) -> str:
    return review_page(read(place / JOURNAL), place, folder("dialogs"), **how)


def test_everything_of_the_record_is_on_the_page(call):
    text = " ".join(Shape((call / "review.html").read_text()).text)
    text = re.sub(r"\s+", " ", text)
    messages = [entry.message for entry in read(call / JOURNAL).entries]
    for message in messages:
        match message:
            case Utterance() | Spoken() | Note():
                assert message.text in text
            case Taken():
                assert str(message.value) in text
            case Prompt(role="caution"):
                assert worded(message) in text
    for said in ("Repaired: contactor coil on Y", "supply: live first", "0.72", "fuse, 3 A"):
        assert said in text


def test_every_utterance_and_reply_can_be_played_from_the_page_alone(call):
    shape = Shape((call / "review.html").read_text())
    sounds = [a for a in shape.addresses if a.startswith("data:audio/ogg; codecs=opus;base64,")]
    said = [e for e in read(call / JOURNAL).entries if isinstance(e.message, Utterance | Spoken)]
    assert len(sounds) == len(said)
    assert all(a.startswith(("data:", "#")) for a in shape.addresses)


def test_ten_thousand_hostile_utterances_escape_nothing(dialogs, tmp_path):
    """Said, noted, spoken, read and named: the page has the same elements as for plain words."""
    shapes = []
    for name, texts in (("plain", ["twelve ohms"] * 501), ("hostile", hostile(10_000))):
        with Journal(tmp_path / name) as journal:
            journal.append([CallOpened.model_validate({
                **opened(dialogs).model_dump(), "call_id": texts[0], "model": texts[1],
            })])  # fmt: skip
            journal.append([Utterance(text=text, source="typed") for text in texts])
            journal.append([Note(text=text) for text in texts[:500]])
            journal.append([Spoken(text=text) for text in texts[:500]])
        shapes.append(Shape(page_of(tmp_path / name)))
    plain, attacked = shapes
    assert attacked.shapes == plain.shapes
    assert attacked.addresses == plain.addresses
    kept = re.sub(r"\s+", "", "".join(attacked.text))
    for text in hostile(10_000):
        assert re.sub(r"\s+", "", text) in kept


def test_how_far_out_a_short_is_stands_on_top_with_its_interval(dialogs, tmp_path):
    told = "The short is {far}, from the board."
    with Journal(tmp_path) as journal:
        far = {"far": "55 feet out, between 48 and 61 feet"}
        journal.append([opened(dialogs), Prompt(role="tell", template=told, slots=far)])
    text = " ".join(Shape(page_of(tmp_path)).text)
    assert "The short is 55 feet out, between 48 and 61 feet, from the board." in text


def test_a_changed_record_says_so_on_top(call, tmp_path):
    data = (call / JOURNAL).read_bytes().replace(b"wasp", b"mice").replace(b"Wasp", b"Mice")
    (tmp_path / JOURNAL).write_bytes(data)
    page = page_of(tmp_path, carried="none")
    assert "was changed after it was kept" in page
    assert "was changed after it was kept" not in page_of(call, carried="none")


def test_a_call_cut_short_tells_where_it_stands(dialogs, tmp_path, call):
    data = (call / JOURNAL).read_bytes()
    (tmp_path / JOURNAL).write_bytes(b"\n".join(data.split(b"\n")[:60]) + b"\n")
    text = " ".join(Shape(page_of(tmp_path, carried="none")).text)
    assert "Not finished" in text
    assert "The call stands at:" in text


def test_what_was_taken_back_no_longer_counts(dialogs, tmp_path):
    from tests.journal.faulty import talk

    with Journal(tmp_path) as journal:
        talk(dialogs, journal, ["site clear", "fuse blows", "furnace", "back", "heat pump"])
    facts = gather(read(tmp_path / JOURNAL).entries)
    assert [(str(v.value), v.withdrawn) for v in facts.counted] == [
        ("site clear", False), ("fuse opens", False), ("cooling furnace", True),
        ("heat pump", False),
    ]  # fmt: skip
    assert facts.profile == "heat_pump"
