"""The risk map in a real browser: every switch changes what is drawn, list and map and findings agree."""

from __future__ import annotations

import pytest
from browser.conftest import Made, Opened, Opener
from browser.synthetic import CANDIDATES, DESIGN, HOSTILE

from envpredict.core.citation import BASIS_MEANING
from envpredict.engine.govern import governing
from envpredict.engine.results import EFFECTS
from envpredict.outputs.map.style import COLOURS, ORDER, WORDS

PICTURE = "() => document.querySelector('canvas.rm-canvas').toDataURL()"
METHODS = [one.id for one in CANDIDATES]


def words_shown(opened: Opened) -> list[str]:
    """Return the word of every receptor, in the order of the receptors."""
    return [ORDER[code] for code in opened.js("() => Array.from(riskMap.app.view.words)")]


def told(opened: Opened) -> str:
    return opened.page.locator("#rm-summary").inner_text()


def choose_method(opened: Opened, title: str) -> None:
    opened.page.get_by_role("radio", name=title).check()
    opened.settle()


def choose_effect(opened: Opened, title: str) -> None:
    opened.page.get_by_role("radio", name=title, exact=True).check()
    opened.settle()


def test_the_page_opens_by_itself(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    assert opened.page.title() == "Risk map: Invented wall for tests"
    assert opened.js("() => riskMap.app.data.receptors") == 120
    assert opened.page.locator(".rm-list tbody tr").count() == 50
    assert "1 to 50 of 120" in opened.page.locator(".rm-told").inner_text()
    assert opened.js("() => document.querySelectorAll('[src], link[href]').length") == 0


def test_the_words_are_those_of_the_governing_findings(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    best = governing(small.assessment.findings, ("receptor", "method")).set_index(["method", "receptor"])["likelihood"]
    by_effect = governing(small.assessment.findings).set_index(["method", "effect", "receptor"])["likelihood"]
    ids = small.assessment.receptors["id"]
    for number, one in enumerate(CANDIDATES):
        choose_method(opened, one.title)
        assert words_shown(opened) == best[one.id].loc[ids].tolist()
        for effect in ("damage", "people", "noise"):
            opened.js("(change) => riskMap.app.set(change)", {"effect": effect, "method": number})
            assert words_shown(opened) == by_effect[one.id][effect].loc[ids].tolist()
        opened.js("() => riskMap.app.set({effect: 'governing'})")


def test_each_method_draws_another_picture(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    pictures, texts = set(), set()
    for one in CANDIDATES:
        choose_method(opened, one.title)
        pictures.add(opened.js(PICTURE))
        texts.add(told(opened))
        assert one.title in told(opened)
    assert len(pictures) == len(texts) == len(CANDIDATES)
    assert "vibration is an estimate" in opened.page.locator("#rm-choices").inner_text()


def test_each_effect_and_period_draws_another_picture(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    pictures = {opened.js(PICTURE)}
    for effect in ("damage", "people", "noise"):
        title = EFFECTS[effect][0].upper() + EFFECTS[effect][1:]
        choose_effect(opened, title)
        assert EFFECTS[effect] in told(opened)
        pictures.add(opened.js(PICTURE))
    assert opened.page.get_by_label("Period").is_visible()
    for period in ("day", "evening"):
        opened.page.get_by_label("Period").select_option(period)
        opened.settle()
        assert f"noise, {period}" in told(opened)
        pictures.add(opened.js(PICTURE))
    assert len(pictures) == 6
    choose_effect(opened, "Whichever governs")
    assert opened.page.get_by_label("Period").is_hidden()


def test_level_lines_follow_the_effect_or_stay(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)

    def lines() -> list[str]:
        return opened.page.locator(".rm-lines li").all_inner_texts()

    assert any("12 mm/s" in line for line in lines())
    choose_effect(opened, "Noise")
    assert {line.split(":")[0] for line in lines()} == {"70 dB", "60 dB"}
    both = opened.js(PICTURE)
    opened.page.get_by_label("Lines", exact=True).select_option("none")
    opened.settle()
    assert lines() == []
    assert opened.js(PICTURE) != both
    opened.page.get_by_label("Lines", exact=True).select_option("damage")
    assert [line.split(":")[0] for line in lines()] == ["12 mm/s"]


def test_the_days_show_piles_and_likelihoods(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    whole = words_shown(opened)
    opened.page.get_by_role("radio", name="One day").check()
    slider = opened.page.get_by_label("Day of the programme")
    seen = set()
    for day in (0, 7, 19):
        slider.fill(str(day))
        opened.settle()
        seen.add(opened.js(PICTURE))
        text = opened.page.locator("output[for=rm-day]").inner_text()
        assert f"Day {day + 1} of 20" in text
        assert f"{3 * (day + 1)} of 60 piles done" in text
        states = opened.js("() => Array.from(riskMap.pileStates(riskMap.app.data, riskMap.app.state))")
        assert (states.count(1), states.count(2), states.count(0)) == (3 * day, 3, 57 - 3 * day)
        daily = small.assessment.detail["daily"]
        for receptor, word in enumerate(words_shown(opened)):
            chance = max(daily[METHODS[0], effect][receptor, day] for effect in ("damage", "people", "noise"))
            if word in {"likely", "possible"}:
                assert chance >= (0.5 if word == "likely" else DESIGN)
    assert len(seen) == 3
    # pressing works on 30 days, the vibrator on 12: the date stays as near as it can
    choose_method(opened, "Vibratory hammer")
    assert "Day 12 of 12" in opened.page.locator("output[for=rm-day]").inner_text()
    opened.page.get_by_role("radio", name="Whole programme").check()
    choose_method(opened, CANDIDATES[0].title)
    assert words_shown(opened) == whole


def test_the_legend_counts_what_is_shown(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    for one in CANDIDATES:
        choose_method(opened, one.title)
        shown = words_shown(opened)
        legend = opened.page.locator(".rm-legend > ul:first-of-type li").all_inner_texts()
        for word in set(shown):
            assert any(line.startswith(f"{WORDS[word]} {shown.count(word)}\n") for line in legend), (word, legend)
        counts = opened.page.locator(".rm-counts .rm-heard").all_inner_texts()[METHODS.index(one.id)]
        assert counts == told(opened).split(" under ")[0]


def test_list_and_map_agree(open_page: Opener, small: Made) -> None:
    """The colour under a receptor's mark is that of the word in its row."""
    opened = open_page(small.file)
    sample = """(receptor) => {
      const { layer, data } = riskMap.app;
      const at = riskMap.projector(riskMap.app.map, data.head.origin, layer._bounds);
      const mark = layer.marks(at);
      const ratio = window.devicePixelRatio;
      const ctx = layer._container.getContext('2d');
      const pixel = (dx, dy) => Array.from(ctx.getImageData(
        Math.round((mark.x(receptor) - layer._bounds.min.x + dx) * ratio),
        Math.round((mark.y(receptor) - layer._bounds.min.y + dy) * ratio), 1, 1).data.slice(0, 3));
      const r = layer.radius;
      return [pixel(0, 0.35 * r), pixel(-0.3 * r, 0.3 * r), pixel(0.3 * r, 0.3 * r), pixel(-0.5 * r, 0)];
    }"""
    checked = set()
    for one in CANDIDATES:
        choose_method(opened, one.title)
        for word in set(words_shown(opened)):
            opened.page.get_by_label("Show", exact=True).select_option(label=WORDS[word])
            row = opened.page.locator(".rm-list tbody tr").first
            receptor = int(row.get_attribute("data-receptor") or -1)
            assert WORDS[word] in row.locator(".rm-word").inner_text()
            row.get_by_role("button").click()
            opened.settle()
            found = opened.js(sample, receptor)
            fill = COLOURS[word][0]
            expected = [int(fill[n:n + 2], 16) for n in (1, 3, 5)]
            # the site's own drawing may lie over a part of a mark
            assert sum(pixel == expected for pixel in found) >= 2, (word, found, expected)
            checked.add(word)
            opened.page.keyboard.press("Escape")
        opened.page.get_by_label("Show", exact=True).select_option("")
    assert checked >= {"likely", "possible", "unlikely", "cannot_judge"}


def test_the_list_filters_searches_and_sorts(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    page = opened.page
    shown = words_shown(opened)
    for word in set(shown):
        page.get_by_label("Show", exact=True).select_option(label=WORDS[word])
        assert f"of {shown.count(word)} found among 120" in page.locator(".rm-told").inner_text()
    page.get_by_label("Show", exact=True).select_option("")
    page.get_by_label("Search").fill("SCHOOL")
    assert page.locator(".rm-list tbody tr").count() == 1
    page.get_by_label("Search").fill("no such thing")
    assert "None found among 120" in page.locator(".rm-told").inner_text()
    page.get_by_label("Search").fill("")
    page.get_by_role("button", name="Receptor").click()
    assert page.locator(".rm-list tbody button").first.inner_text() == "R00001"
    page.get_by_role("button", name="Receptor").click()
    assert page.locator(".rm-list tbody button").first.inner_text() == "R00120"
    page.get_by_role("button", name="Margin").click()
    page.get_by_role("button", name="Next").click()
    assert "51 to 100 of 120" in page.locator(".rm-told").inner_text()
    margins = [float(text.replace("−", "-").split()[0])
               for text in page.locator(".rm-list .rm-number").all_inner_texts() if text]
    assert margins == sorted(margins)


def test_the_findings_of_a_receptor_are_all_there(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    page = opened.page
    findings = small.assessment.findings
    for receptor, method in (("R00011", CANDIDATES[0]), ("R00060", CANDIDATES[2]), ("R00004", CANDIDATES[1])):
        choose_method(opened, method.title)
        page.get_by_label("Search").fill(receptor)
        page.get_by_role("button", name=receptor).click()
        cards = page.locator(".rm-finding")
        rows = findings[findings["receptor"].eq(receptor) & findings["method"].eq(method.id)]
        assert cards.count() == len(rows)
        texts = cards.all_inner_texts()
        for row in rows.to_dict("records"):
            card = next(text for text in texts if row["clause"] in text and row["limit_set"] in text)
            assert WORDS[row["likelihood"]] in card
            assert row["reason"] in card
            if row["basis"]:
                assert f"{row['basis']}: {BASIS_MEANING[row['basis']]}" in card
            if row["predicted_median"] != row["predicted_median"]:
                continue
            for name in ("predicted_median", "predicted_design", "limit"):
                value = row[name]
                # decibels to a tenth, other levels to three digits, as Python prints them
                shown = f"{value:.1f} dB" if row["unit"] == "dB" else f"{float(f'{value:.3g}'):.{3}g}"
                assert shown.rstrip("0").rstrip(".") in card, (name, shown, card)
            sign = "−" if row["margin_db"] < 0 else "+"
            assert f"{sign}{abs(round(row['margin_db'], 1)):.1f} dB" in card
            assert row["governing_pile"] in card
            assert ("out of range" in card) == (not row["in_range"])
        page.keyboard.press("Escape")


def test_a_receptor_opens_from_the_map(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    opened.js("() => riskMap.app.map.setZoom(19, {animate: false})")
    opened.settle()
    at = opened.js("""() => {
      const { layer, data, map } = riskMap.app;
      const mark = layer.marks(riskMap.projector(map, data.head.origin, layer._bounds));
      for (let receptor = 0; receptor < data.receptors; receptor += 1) {
        const point = map.layerPointToContainerPoint([mark.x(receptor), mark.y(receptor)]);
        const size = map.getSize();
        if (point.x > 100 && point.y > 100 && point.x < size.x - 100 && point.y < size.y - 100) {
          const box = map.getContainer().getBoundingClientRect();
          return { x: box.x + point.x, y: box.y + point.y, id: data.ids[receptor] };
        }
      }
      return null;
    }""")
    opened.page.mouse.move(at["x"], at["y"])
    assert at["id"] in opened.page.locator("#rm-hover").inner_text()
    opened.page.mouse.click(at["x"], at["y"])
    dialog = opened.page.get_by_role("dialog")
    assert dialog.is_visible()
    assert at["id"] in dialog.inner_text()
    assert opened.page.locator("tr.rm-chosen").count() == 1
    opened.page.get_by_role("button", name="Back to the list").click()
    assert dialog.is_hidden()


def test_a_receptor_is_compared_under_every_method(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    opened.js("() => riskMap.app.select(20, {from: 'list'})")
    table = opened.page.locator(".rm-others tbody tr")
    assert table.count() == len(CANDIDATES)
    best = governing(small.assessment.findings, ("receptor", "method")).set_index(["receptor", "method"])["likelihood"]
    for number, one in enumerate(CANDIDATES):
        assert WORDS[best["R00021", one.id]] in table.nth(number).inner_text()
    table.nth(2).get_by_role("button").click()
    assert CANDIDATES[2].title in told(opened)
    assert opened.page.get_by_role("dialog").is_visible()


def test_hostile_names_are_text(open_page: Opener, small: Made) -> None:
    opened = open_page(small.file)
    page = opened.page
    for number, name in enumerate(HOSTILE):
        page.get_by_label("Search").fill(f"R{number + 1:05d}")
        assert page.locator(".rm-list tbody .rm-name").evaluate("(element) => element.textContent") == name
        page.locator(".rm-list tbody button").click()
        assert page.locator(".rm-details-head .rm-name").evaluate("(element) => element.textContent") == name
        page.keyboard.press("Escape")
    assert opened.js("() => window.hurt") is None
    assert opened.js("() => document.querySelectorAll('img, b.world').length") == 0
    wider = opened.js("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
    assert wider == 0


def test_what_stays_out_is_said_and_not_drawn(open_page: Opener, withheld: Made) -> None:
    opened = open_page(withheld.file)
    page = opened.page
    text = page.locator(".rm-notes").inner_text()
    assert "Names of homes and workplaces are left out" in text
    assert "The place of 1 protected habitat is left out" in text
    page.get_by_label("Search").fill("habitat")
    assert "place left out" in page.locator(".rm-list tbody").inner_text()
    before = opened.js("() => riskMap.app.map.getCenter()")
    page.locator(".rm-list tbody button").click()
    assert "place left out" in page.get_by_role("dialog").inner_text()
    assert "Governing pile" not in page.get_by_role("dialog").inner_text()
    assert opened.js("() => riskMap.app.map.getCenter()") == before
    page.keyboard.press("Escape")
    page.get_by_label("Search").fill("Family")
    assert "None found" in page.locator(".rm-told").inner_text()


@pytest.mark.parametrize("number", range(3))
def test_twenty_thousand_receptors(open_page: Opener, large: Made, number: int) -> None:
    opened = open_page(large.file)
    opened.js("(method) => riskMap.app.set({method})", number)
    opened.settle()
    assert opened.js("() => riskMap.app.data.receptors") == 20_000
    assert len(words_shown(opened)) == 20_000
    assert "of 20000" in opened.page.locator(".rm-told").inner_text()
    before = opened.js(PICTURE)
    opened.js("() => riskMap.app.map.zoomIn(3, {animate: false})")
    opened.settle()
    assert opened.js(PICTURE) != before
    opened.page.get_by_label("Search").fill("R19999")
    opened.page.locator(".rm-list tbody button").click()
    assert opened.page.locator(".rm-finding").count() == 4
