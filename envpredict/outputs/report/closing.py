"""The last chapters: cautions, who answers for the report, sources."""

from __future__ import annotations

from envpredict.outputs.report.blocks import Block, Bullets, Chapter, Column, Facts, Subheading, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.job import CHANCE_NOTE

LIMITS_OF_USE = (
    "Noise predictions of this kind have been found off by several dB on average, vibration by a factor of two or "
    "more; "
    "a margin smaller than the scatter proves nothing.",
    "Meeting a limit is not absence of harm or complaint; vibration is felt far below levels that damage.",
    "Historic, cracked or sensitive buildings and equipment need criteria of their own; settlement and the loosening "
    "of "
    "sand can do damage without a high particle velocity.",
    "The exposure of workers is governed by other law: these results don't serve for it.",
    "Names, complaints and recordings are personal data and stay out of maps and of this report.",
)


def cautions(shown: Context) -> Chapter:
    """Return what the numbers are not, and when work stops."""
    return Chapter("cautions", "Cautions", (
        *(Text(caution, "caution") for caution in shown.assessment.cautions), Bullets(LIMITS_OF_USE),
        Text(CHANCE_NOTE)))


def competence(shown: Context) -> Chapter:
    """Return who answers for the report; without a name it's nobody's."""
    named = shown.submission("competent_person")
    blocks: list[Block] = [
        Facts((("Competent person", named or "not stated"),
               ("Qualification", shown.submission("qualification") or "not stated"),
               ("Revision", shown.submission("revision") or "not stated"),
               ("Date", shown.submission("date") or "not stated"), ("Signature", ""))),
        Text("A competent engineer, licensed where the law asks for it, checks the inputs, confirms the limits, judges "
             "the results and signs. The program that computed them answers for nothing.")]
    if not named:
        blocks.append(Text("No competent person is named: this report can't be submitted.", "missing"))
    return Chapter("competence", "Competent person and sign-off", tuple(blocks))


def sources(shown: Context) -> Chapter:
    """Return every source that the run used, and the inputs by their hashes."""
    provenance = shown.assessment.provenance
    inputs = tuple((name, digest) for name, digest in provenance.inputs.items())
    versions = ", ".join(f"{name} {version}" for name, version in provenance.packages.items())
    columns = (Column("File", 60), Column("SHA-256", 110))
    return Chapter("sources", "Sources", (
        Text("The tables cite sources by these numbers. A source with a mark in brackets was not read, or is no "
             "published source: it has to be verified before anybody relies on the number."),
        Table("Sources", (Column("No.", 12), Column("Source", 158)),
              tuple((f"S{number}", text) for number, text in enumerate(shown.references.texts, 1))),
        Subheading("Inputs and versions"),
        Table("Files read", columns, inputs),
        Facts((("envpredict", provenance.version), ("Packages", versions)))))
