"""The page in a real browser: headless Chromium, driven by selenium, without a network."""

import json
import shutil

import pytest

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


@needs_browser
@pytest.mark.parametrize("size", [(390, 844), (1280, 900)], ids=["phone", "desktop"])
def test_the_page_loads_and_its_controls_work(browser, survey_page, page_survey, size):
    opened(browser, survey_page, *size)
    errors = [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]
    assert errors == []
    asked = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"]
    assert all(url.startswith(("file:", "data:", "blob:")) for url in urls), urls
    # Nothing but tables and the drawing may need to be scrolled sideways.
    assert browser.execute_script("return document.documentElement.scrollWidth <= window.innerWidth + 1")
    visible = "return document.getElementById('view').data.map(t => t.visible !== false)"
    groups = browser.execute_script("return document.getElementById('view').data.map(t => t.meta)")
    before = browser.execute_script(visible)
    assert before[groups.index("figure")]
    for name in ("block", "figure", "offcuts", "undercuts", "points"):
        box = browser.find_element("css selector", f"#three input[value={name}]")
        browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
        box.click()
        after = browser.execute_script(visible)
        assert after[groups.index(name)] != before[groups.index(name)], name
        box.click()
        assert browser.execute_script(visible) == before
    record = json.loads(json.dumps(page_survey.record()))
    slider = browser.find_element("id", "stage")
    moved = "arguments[0].value = arguments[1]; arguments[0].dispatchEvent(new Event('input'))"
    volumes = [record["fit"]["block"]["volume_m3"], *[p["left_m3"] for p in record["offcuts"]["pieces"]]]
    volumes += [s["left_m3"] for s in record["weights"]["stages"] if s["name"] != "offcuts taken off whole"]
    assert int(slider.get_attribute("max")) == len(volumes) - 1
    for k, volume in enumerate(volumes):
        browser.execute_script(moved, slider, k)
        words = browser.find_element("id", "stage-words")
        assert float(words.get_attribute("data-left-m3")) == volume
        assert f"{volume:.4f}" in words.text
    gone = browser.execute_script(visible)
    assert not any(shown for shown, group in zip(gone, groups, strict=True) if group == "offcuts")


@needs_browser
def test_the_tables_agree_with_the_json(browser, survey_page, page_survey):
    opened(browser, survey_page, 1280, 900)
    record = json.loads(json.dumps(page_survey.record()))
    cells = browser.execute_script(
        "return [...document.querySelectorAll('td[data-path]')].map(td => [td.dataset.path, td.dataset.value])"
    )
    assert len(cells) > 150
    for path, value in cells:
        here = record
        for part in path.split("."):
            here = here[int(part)] if isinstance(here, list) else here[part]
        assert json.loads(value) == here, path
    assert page_survey.fit.figure.name in browser.find_element("tag name", "h1").text


@needs_browser
def test_every_control_has_a_name_and_dragging_turns_the_figure(browser, survey_page):
    opened(browser, survey_page, 1280, 900)
    tree = browser.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    controls = [n for n in tree if n.get("role", {}).get("value") in ("checkbox", "slider", "button")]
    kinds = {n["role"]["value"] for n in controls}
    assert {"checkbox", "slider"} <= kinds
    names = [n.get("name", {}).get("value", "") for n in tree]
    assert any("in three dimensions" in name for name in names)
    nameless = [n["role"]["value"] for n in controls if not n.get("ignored") and not n.get("name", {}).get("value")]
    assert nameless == []
    turned = browser.execute_async_script(
        """
        const done = arguments[0], canvas = document.querySelector('#view canvas');
        const box = canvas.getBoundingClientRect(), x = box.left + box.width / 2, y = box.top + box.height / 2;
        const fire = (kind, at, buttons) => canvas.dispatchEvent(
          new MouseEvent(kind, {bubbles: true, clientX: at, clientY: y, buttons, button: 0}));
        const scene = document.getElementById('view')._fullLayout.scene._scene;
        const eye = () => JSON.stringify(scene.getCamera().eye);
        const before = eye();
        let k = 0;
        fire('mousedown', x, 1);
        function turn() {
          fire('mousemove', x + 4 * k, 1);
          requestAnimationFrame(() => {
            if (++k < 40) turn(); else { fire('mouseup', x, 0); done([before, k, eye()]); }
          });
        }
        turn();
        """
    )
    before, frames, after = turned
    assert frames == 40
    assert before != after
