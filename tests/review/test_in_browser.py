"""The page in a real browser: played, put right, printed, on a phone, and by axe's rules."""

from __future__ import annotations

import json
import os
import re
import shutil
import time
from pathlib import Path

import pytest

from companion.datafiles import folder
from companion.journal import JOURNAL, Journal, read
from companion.journal.afterwards import append, corrections_in
from companion.messages import Note
from companion.review import review_page
from companion.review.figures import figures_page
from companion.understood import Utterance
from tests.conftest import opened
from tests.review.synthetic import learned_from
from tests.review.test_page import hostile

CHROMIUM = shutil.which("chromium")
AXE = Path(os.environ.get("AXE", "node_modules/axe-core/axe.min.js"))
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        running = driver.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--autoplay-policy=no-user-gesture-required"],
        )
        yield running
        running.close()


@pytest.fixture
def opened_page(browser, call):
    """The page, and everything that it asked for or complained of."""
    page = browser.new_page(viewport={"width": 1100, "height": 900})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: asked.append(message.text))
    page.on("pageerror", lambda error: asked.append(str(error)))
    page.goto((call / "review.html").as_uri())
    yield page
    assert [a for a in asked if not a.startswith(("data:audio", "blob:", "file:"))] == []
    assert sum(a.startswith("file:") for a in asked) == 1
    page.close()


def until(page, condition: str, seconds: float = 10.0) -> None:
    """The page's own policy keeps the driver's waiting, which evaluates strings, from working."""
    end = time.monotonic() + seconds
    while not page.evaluate(condition):
        assert time.monotonic() < end, condition
        page.wait_for_timeout(50)


def test_a_clip_plays_and_stops(opened_page):
    buttons = opened_page.locator("#said button.play")
    long, short = buttons.nth(0), buttons.nth(1)
    at = {
        b: f"document.getElementById('sound-{b.get_attribute('data-seq')}')" for b in (long, short)
    }
    long.click()
    assert long.get_attribute("aria-pressed") == "true"
    until(opened_page, f"{at[long]}.currentTime > 0.05")
    short.click()  # one at a time
    assert long.get_attribute("aria-pressed") == "false"
    assert opened_page.evaluate(f"{at[long]}.paused")
    until(opened_page, f"{at[short]}.paused")  # to its end
    assert short.get_attribute("aria-pressed") == "false"
    long.click()
    long.click()
    assert opened_page.evaluate(f"{at[long]}.paused")


def test_a_word_is_put_right_by_keyboard_and_appended(opened_page, call, tmp_path):
    place = tmp_path / "call"
    shutil.copytree(call, place)
    button = opened_page.locator("button.mend[aria-label*='no point eight']")
    button.focus()
    opened_page.keyboard.press("Enter")
    opened_page.get_by_label("The word that was misheard").select_option(label="3. eight")
    opened_page.get_by_role("textbox", name="What it was").fill("</script>a")
    opened_page.get_by_label("Your name").fill("R. Vale")
    opened_page.get_by_role("button", name="Keep").press("Enter")
    assert "eight was </script>a – R. Vale" in opened_page.locator("#mended").inner_text()
    with opened_page.expect_download() as saved:
        opened_page.get_by_role("button", name="Save as a file").press("Enter")
    file = tmp_path / saved.value.suggested_filename
    saved.value.save_as(file)
    before = (place / JOURNAL).read_bytes()
    append(place, corrections_in(file))
    after = read(place / JOURNAL)
    assert after.whole.startswith(before)
    assert after.entries[-1].message.meant == "</script>a"
    again = review_page(after, place, folder("dialogs"), "none")
    assert "<ins>&lt;/script&gt;a</ins> – R. Vale" in again


def test_it_prints_on_two_pages(opened_page):
    printed = opened_page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2


def test_a_long_call_prints_on_two_pages_too(browser, call, tmp_path):
    """Four times through everything, with notes: the rest is on the screen only."""
    once = [entry.message for entry in read(call / JOURNAL).entries]
    with Journal(tmp_path) as journal:
        for _ in range(4):
            journal.append([*once, *(Note(text=f"Note {n}. " * 12) for n in range(4))])
    html = review_page(read(tmp_path / JOURNAL), tmp_path, folder("dialogs"), "none")
    (tmp_path / "p.html").write_text(html, encoding="utf-8")
    page = browser.new_page()
    page.goto((tmp_path / "p.html").as_uri())
    printed = page.pdf(prefer_css_page_size=True, path=os.environ.get("LONG_PDF"))
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == 2
    page.close()


@pytest.mark.parametrize("width", [320, 360, 1100])
def test_nothing_runs_out_of_a_narrow_screen(opened_page, width):
    opened_page.set_viewport_size({"width": width, "height": 700})
    assert opened_page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not there: npm install axe-core")
@pytest.mark.parametrize("width", [360, 1100])
def test_axe_finds_nothing(opened_page, width):
    opened_page.set_viewport_size({"width": width, "height": 700})
    opened_page.evaluate(AXE.read_text(encoding="utf-8"))
    if width == 360:
        opened_page.locator("button.mend").first.click()
        assert opened_page.evaluate("axe.run()").get("violations") == []
        opened_page.get_by_role("button", name="Leave").click()
    found = opened_page.evaluate("axe.run()")
    assert [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]] == []
    assert len(found["passes"]) > 10


def test_hostile_words_stay_words(browser, dialogs, tmp_path):
    with Journal(tmp_path) as journal:
        journal.append([opened(dialogs)])
        journal.append([Utterance(text=text, source="typed") for text in hostile(1000)])
    page = browser.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("dialog", lambda dialog: said.append(dialog.message))
    page.on("request", lambda request: said.append(request.url))
    html = review_page(read(tmp_path / JOURNAL), tmp_path, folder("dialogs"))
    (tmp_path / "p.html").write_text(html, encoding="utf-8")
    page.goto((tmp_path / "p.html").as_uri())
    assert page.evaluate("typeof pwned") == "undefined"
    words = json.loads(page.locator("button.mend").nth(7).get_attribute("data-words"))
    assert words == hostile(1000)[7].split()
    assert said == [(tmp_path / "p.html").as_uri()]
    # Even words that were put in unescaped would not run.
    broken = html.replace("</main>", "<script>pwned=1</script><img src=x onerror=pwned=1></main>")
    (tmp_path / "q.html").write_text(broken, encoding="utf-8")
    page.goto((tmp_path / "q.html").as_uri())
    assert page.evaluate("typeof pwned") == "undefined"
    page.close()


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not there: npm install axe-core")
def test_axe_finds_nothing_on_the_page_of_figures(browser, call, tmp_path):
    shutil.copytree(call, tmp_path / "calls" / "monday")
    database, _, learned = learned_from(str(tmp_path / "calls"))
    (tmp_path / "f.html").write_text(figures_page(database, learned), encoding="utf-8")
    page = browser.new_page(viewport={"width": 360, "height": 700})
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.goto((tmp_path / "f.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")
    assert [(v["id"], v["nodes"][0]["html"]) for v in found["violations"]] == []
    assert said == []
    page.close()
