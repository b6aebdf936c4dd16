"""The page in a real browser: headless Chromium, driven by selenium, without a network."""

import base64
import io
import json
import math
import re
import shutil
from pathlib import Path

import axe_core_python
import pytest
from pypdf import PdfReader

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
pytestmark = pytest.mark.slow
needs_browser = pytest.mark.skipif(not (BROWSER and DRIVER), reason="no Chromium with its driver is installed here")


@pytest.fixture(scope="module")
def browser():
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    options.binary_location = BROWSER
    for flag in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--use-angle=swiftshader",
                 "--enable-unsafe-swiftshader", "--ignore-gpu-blocklist"):  # fmt: skip
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    yield driver
    driver.quit()


def opened(browser, page, width, height):
    from selenium.webdriver.support.ui import WebDriverWait

    browser.set_window_size(width, height)
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(page.as_uri())
    WebDriverWait(browser, 60).until(lambda b: b.execute_script("return document.body.dataset.ready") == "yes")


SIZES = pytest.mark.parametrize("size", [(390, 844), (768, 1024), (1280, 900)], ids=["phone", "tablet", "desktop"])
MOVED = "arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('input'))"


@needs_browser
@SIZES
def test_the_page_loads_and_its_controls_work(browser, survey_page, page_survey, size):
    opened(browser, survey_page, *size)
    errors = [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]
    assert errors == []
    asked = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"]
    assert all(url.startswith(("file:", "data:", "blob:")) for url in urls), urls
    assert browser.execute_script("return document.documentElement.scrollWidth <= window.innerWidth + 1")
    if size[0] == 1280:
        assert browser.execute_script("return document.documentElement.scrollHeight") <= 9000
    heading = browser.find_element("tag name", "h1").text
    assert page_survey.fit.figure.name in heading
    assert page_survey.fit.block.name in heading
    verdict = browser.find_element("id", "verdict")
    assert verdict.text.startswith("FITS")
    assert verdict.location["y"] < 300
    for name in ("figure", "stone", "pieces", "undercuts"):
        box = browser.find_element("css selector", f"#three input[value={name}]")
        browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
        before = picture_of(browser)
        box.click()
        assert picture_of(browser) != before, name
        box.click()
        assert picture_of(browser) == before, name


@needs_browser
def test_the_slider_shows_the_stone_that_is_left(browser, survey_page, page_survey):
    opened(browser, survey_page, 1280, 900)
    record = json.loads(json.dumps(page_survey.record()))
    slider, words = browser.find_element("id", "stage"), browser.find_element("id", "stage-words")
    pieces = record["offcuts"]["pieces"]
    volumes = [record["fit"]["block"]["volume_m3"], *[p["left_m3"] for p in pieces]]
    density = page_survey.fit.block.stone.density_kg_m3
    seen = set()

    def shown_kg():
        return float(re.search(r"([\d,]+(?:\.\d+)?) kg left", words.text).group(1).replace(",", ""))

    for k, volume in enumerate(volumes):
        browser.execute_script(MOVED, slider, k)
        assert shown_kg() == math.ceil(volume * density - 1e-6)
        assert "stand" in words.text.lower()
        seen.add(picture_of(browser))
    assert len(seen) == len(volumes)
    last = int(slider.get_attribute("max"))
    left = []
    for k in range(len(volumes), last + 1):
        browser.execute_script(MOVED, slider, k)
        left.append(shown_kg())
    assert left == sorted(left, reverse=True)
    assert left[-1] == math.ceil(page_survey.fit.solid().volume_m3 * density)


@needs_browser
def test_units_change_at_a_switch_and_by_keyboard(browser, survey_page):
    from selenium.webdriver.common.keys import Keys

    opened(browser, survey_page, 1280, 900)
    body = browser.find_element("tag name", "body")
    assert " kg" in body.text
    browser.find_element("id", "in-metric").send_keys(Keys.ARROW_RIGHT)
    assert browser.find_element("id", "in-us").is_selected()
    words = body.text.split("Cautions")[0]
    assert " lb" in words
    assert not re.search(r"\d (?:kg|cm²|MPa)\b", words)
    assert " lb" in browser.find_element("id", "stage-words").text
    before = picture_of(browser)
    canvas = browser.find_element("id", "view")
    canvas.send_keys(Keys.ARROW_LEFT)
    turned = picture_of(browser)
    assert turned != before
    canvas.send_keys("+")
    assert picture_of(browser) != turned


@needs_browser
def test_it_is_read_without_a_script_and_printed(browser, survey_page, page_survey):
    """The words stand in the page itself; the printed one leaves out what only a screen can do."""
    text = survey_page.read_text(encoding="utf-8")
    bare = re.sub(r"<script.*?</script>", "", text, flags=re.DOTALL)
    for words in ("READ FIRST", "Least cover", "Comes off", "Do first", "Piece 1", "Place 1", "qualified person"):
        assert words in bare, words
    opened(browser, survey_page, 1280, 900)
    paper = {"paperWidth": 8.27, "paperHeight": 11.69}  # A4, in inches
    printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", paper)["data"])
    pages = PdfReader(io.BytesIO(printed)).pages
    told = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "Lines to snap" in told
    assert "Take the stone off" not in told
    assert 4 <= len(pages) <= 16


@needs_browser
def test_no_serious_fault_of_access(browser, survey_page):
    """axe-core 4 (Deque, MPL-2.0) finds nothing serious or critical."""
    script = Path(axe_core_python.__file__).parent / "axe.min.js"
    opened(browser, survey_page, 1280, 900)
    browser.execute_script(script.read_text(encoding="utf-8"))
    found = browser.execute_async_script("const done = arguments[0]; axe.run(document).then(r => done(r.violations))")
    faults = [v for v in found if v["impact"] in ("serious", "critical")]
    serious = {v["id"]: [n["html"][:120] for n in v["nodes"][:2]] for v in faults}
    assert serious == {}


@needs_browser
def test_dragging_turns_the_figure(browser, survey_page):
    opened(browser, survey_page, 1280, 900)
    before = picture_of(browser)
    browser.set_script_timeout(300)  # a guard against waiting for ever: software draws slowly on a busy machine
    frames = browser.execute_async_script(
        """
        const done = arguments[0], canvas = document.getElementById('view');
        const box = canvas.getBoundingClientRect(), x = box.left + box.width / 2, y = box.top + box.height / 2;
        const fire = (kind, at) => canvas.dispatchEvent(
          new PointerEvent(kind, {bubbles: true, pointerId: 1, clientX: at, clientY: y}));
        canvas.setPointerCapture = () => {};
        let k = 0;
        fire('pointerdown', x);
        function turn() {
          fire('pointermove', x + 4 * k);
          requestAnimationFrame(() => {
            if (++k < 40) turn(); else { fire('pointerup', x); done(k); }
          });
        }
        turn();
        """
    )
    assert frames == 40
    assert picture_of(browser) != before


def picture_of(browser):
    """Return what the view shows now, as a digest."""
    return browser.execute_async_script(
        """
        const done = arguments[0], view = document.getElementById('view');
        requestAnimationFrame(() => requestAnimationFrame(() => done(view.toDataURL())));
        """
    )
