"""The rules that a monitoring plan and its records are audited by: when each passes, and where it comes from.

An essential rule that fails fails the audit. Numbers and lists that a rule compares with are settings: a file of one's
own may replace them.
"""

from __future__ import annotations

from envpredict.monitoring.audit_rules import Rule, load_rules
from envpredict.outputs.reference.markdown import facts, sections, table

TITLE = "Rules of the audit"


def _section(rule: Rule) -> str:
    return sections([
        f"## {rule.id}",
        f"{rule.checked}: {rule.passes_when}.",
        facts([("severity", rule.severity), ("essential", rule.essential or None), ("from the records", rule.records),
               ("sources", "; ".join(str(source.citation) for source in rule.sources))]),
        table(["setting", "value", "meaning", "source"],
              [(name, str(setting), setting.meaning, setting.source) for name, setting in rule.settings.items()])
        if rule.settings else "",
    ])


def body() -> str:
    """Return one section on each rule."""
    return sections(map(_section, load_rules().values()))
