"""The tables of the aircraft's settings (what to change, fits, is not understood, differs) and of emergencies."""

from __future__ import annotations

from watchkeeper.brief.findings import WEIGHTS, CrewToday, SettingRow, SettingsToday, Verdict
from watchkeeper.brief.sheet import Cell, Table, row, table
from watchkeeper.brief.wording import NONE, counted, plain, sentence


def seen_words(settings: SettingsToday) -> str:
    """Return where the settings are from and how many of them were seen."""
    whole = "all of them" if settings.complete else "not all of them"
    count = counted(settings.count, "parameter", "parameters")
    source = plain(settings.source) or "an unnamed source"
    return f"{count} seen, {whole}. From {source}. {sentence(settings.autopilot)}".strip()


def of_verdict(settings: SettingsToday, verdict: Verdict) -> tuple[SettingRow, ...]:
    """Return the rows of a verdict, most weighty first."""
    rows = [setting for setting in settings.rows if setting.verdict == verdict]
    return tuple(sorted(rows, key=lambda setting: WEIGHTS.index(setting.weight)))


def changes_table(settings: SettingsToday) -> Table | None:
    """Return what to change, in the aircraft's own names and units."""
    rows = [
        row(
            _weighed(setting),
            plain(setting.has) or NONE,
            plain(setting.asked) or NONE,
            "; ".join(map(plain, setting.changes)) or "by hand: no value is known",
            Cell(sentence(setting.why)),
        )
        for setting in of_verdict(settings, "differs")
    ]
    return (
        table("Settings to change", ("Setting", "Has", "Today asks", "Change to", "Why"), rows) if rows else None
    )


def _weighed(setting: SettingRow) -> Cell:
    name = sentence(setting.name).rstrip(".")
    return Cell(name) if setting.weight == "advisory" else Cell(f"{name} ({setting.weight})", setting.weight)


def unread_table(settings: SettingsToday) -> Table | None:
    """Return the settings that are not understood."""
    rows = [
        row(
            sentence(setting.name).rstrip("."),
            ", ".join(map(plain, setting.own)) or NONE,
            plain(setting.has) or NONE,
            plain(setting.asked) or NONE,
            sentence(setting.why),
        )
        for setting in of_verdict(settings, "not understood")
    ]
    heads = ("Setting", "Aircraft's own name", "Has", "Today asks", "Why")
    return table("Settings not understood: look them up yourselves", heads, rows) if rows else None


def fitting(settings: SettingsToday) -> tuple[tuple[str, str], ...]:
    """Return the settings that fit, and what each is."""
    return tuple((plain(s.name), plain(s.has)) for s in of_verdict(settings, "fits"))


def differences_table(settings: SettingsToday) -> Table | None:
    """Return how the aircraft differs from the baseline; None without one, or where it does not differ."""
    if not settings.differences:
        return None
    rows = [
        row(plain(d.name), plain(d.here) or "absent", plain(d.baseline) or "absent", sentence(d.means))
        for d in settings.differences
    ]
    return table("Against the baseline", ("Parameter", "Here", "Baseline", "What it is"), rows)


def emergencies_table(crew: CrewToday) -> Table | None:
    """Return the emergency card: what the aircraft does by itself, what the crew does."""
    if not crew.emergencies:
        return None
    rows = [row(sentence(e.failure).rstrip("."), plain(e.aircraft), plain(e.crew)) for e in crew.emergencies]
    return table("If it happens", ("Failure", "The aircraft by itself, as set", "The crew"), rows)
