"""What `envpredict list` prints: what is shipped, with source and basis."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from envpredict.core.citation import VERIFY_MARK, Basis, Citation
from envpredict.core.errors import UnknownName
from envpredict.core.words import suggestion

KINDS = {"models": "models", "methods": "methods", "plant": "plant", "limits": "limits"}
WIDTH = 100


def _mark(basis: Basis) -> str:
    return f"{basis}" + (f" ({VERIFY_MARK[basis]})" if VERIFY_MARK[basis] else "")


def _columns(rows: Sequence[Sequence[str]], heads: Sequence[str]) -> str:
    widths = [max(len(str(row[n])) for row in (heads, *rows)) for n in range(len(heads))]
    lines = ["  ".join(str(cell).ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
             for row in (heads, *rows)]
    return "\n".join(lines)


def _about(title: str, pairs: Sequence[tuple[str, object]]) -> str:
    lines = [title]
    for name, value in pairs:
        text = str(value)
        if text:
            lines += textwrap.wrap(f"{name}: {text}", WIDTH, initial_indent="  ", subsequent_indent="      ")
    return "\n".join(lines)


def _cited(citation: Citation) -> str:
    return f"{citation} [basis: {citation.basis}]" + (f"; {citation.note}" if citation.note else "")


def models(name: str | None, filters: Mapping[str, str]) -> str:
    """Return the equations, or one whole."""
    from envpredict.models.spec import load_models

    registry = load_models()
    if name is not None:
        spec = registry[name]
        scatter = spec.scatter
        return _about(f"{spec.id}: {spec.title}", [
            ("predicts", f"{spec.quantity}, at {spec.position}; {spec.statistic}"), ("distance", spec.distance),
            ("inputs", ", ".join(spec.inputs)),
            *((f"range of {key}", f"{limits}; {limits.place}") for key, limits in spec.validity.items()),
            ("scatter", "" if scatter is None else f"between sites {scatter.between_site:.3g}, within a site "
                                                   f"{scatter.within_site:.3g}; {_cited(scatter.source)}"),
            ("source", _cited(spec.source)), *(("also", _cited(source)) for source in spec.sources)])
    rows = [(spec.id, spec.quantity, spec.statistic, spec.distance, _mark(spec.basis), spec.source.document)
            for spec in registry.values() if filters.get("quantity", spec.quantity) == spec.quantity]
    return _columns(rows, ("model", "quantity", "statistic", "distance", "basis", "source"))


def methods(name: str | None, _filters: Mapping[str, str]) -> str:
    """Return the installation methods, or one whole."""
    from envpredict.methods.load import load_methods

    registry = load_methods()
    if name is not None:
        method = registry[name]
        laws = [("predicted by" if law.role == "preferred" else "or by",
                 f"{law.model} ({law.phase}){' ESTIMATE' if law.estimate else ''}{' PROXY' if law.proxy else ''}: "
                 f"{law.why} {_cited(law.citation)}") for law in method.laws]
        plant = [("plant", f"{use.plant}, {100 * use.on_time_fraction:.0f} % of a pile's cycle; {_cited(use.citation)}")
                 for use in method.plant]
        rates = [(f"rate in {ground}", f"{rate.slow:g} to {rate.fast:g} m/h, likely {rate.likely:g}; "
                                       f"{_cited(rate.citation)}") for ground, rate in method.rates.items()]
        suits = [(f"suits {ground}", f"{suit.code} {suit.aid}; {_cited(suit.citation)}")
                 for ground, suit in method.suits.items()]
        band = method.frequency
        return _about(f"{method.id}: {method.title}", [
            ("signal", method.signal), ("frequency", f"{band.low_hz:g} to {band.high_hz:g} Hz, likely "
                                                     f"{band.likely_hz:g} Hz; {_cited(band.citation)}"),
            *laws, *plant, *rates, *suits, ("note", method.note)])
    rows = [(m.id, m.title, m.signal, ", ".join(dict.fromkeys(law.model for law in m.laws if law.role == "preferred")),
             _mark(m.laws[0].citation.basis)) for m in registry.values()]
    return _columns(rows, ("method", "title", "signal", "predicted by", "basis of the choice"))


def plant(name: str | None, _filters: Mapping[str, str]) -> str:
    """Return the items of plant, or one whole."""
    from envpredict.methods.load import load_plant

    registry = load_plant()
    if name is not None:
        item = registry[name]
        octaves = " ".join(f"{value:.1f}" for value in item.octaves_db)
        return _about(f"{item.id}: {item.title}", [
            ("sound power", f"LWA {item.lwa_db:g} dB ({item.lwa_low_db:g} to {item.lwa_high_db:g}), {item.level_type}; "
                            f"{_cited(item.citation)}"),
            ("octaves 63 Hz to 8 kHz", f"{octaves} dB; {_cited(item.spectrum_citation)}"),
            ("height", f"{item.height}; {_cited(item.height_citation)}"),
            ("uncertainty", f"{item.u_db:g} dB; {_cited(item.u_citation)}"), ("note", item.note)])
    rows = [(p.id, p.title, f"{p.lwa_db:g}", p.level_type, f"{p.u_db:g}", _mark(p.basis)) for p in registry.values()]
    return _columns(rows, ("plant", "title", "LWA dB", "level", "u dB", "basis"))


def limits(name: str | None, filters: Mapping[str, str]) -> str:
    """Return the limit sets that fit the filters, or one whole."""
    from envpredict.limits.describe import describe
    from envpredict.limits.facts import FACTS
    from envpredict.limits.find import matching
    from envpredict.limits.load import load_limit_sets

    sets = load_limit_sets()
    if name is not None:
        return describe(sets[name])
    use = filters.get("use")
    if use is not None and use not in FACTS["use"].words:
        raise UnknownName(f"unknown use '{use}'", suggestion(use, FACTS["use"].words))
    rows = [(found.id, found.country, found.status, ", ".join(found.effects), f"{found.document}, {found.edition}",
             _mark(found.basis))
            for found in matching(sets, country=filters.get("country"), quantity=filters.get("quantity"), use=use)]
    return _columns(rows, ("set", "country", "status", "effects", "document", "basis")) if rows else "No set fits."
