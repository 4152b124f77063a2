"""Layouts in words, for people."""

from collections.abc import Iterator

from logger.observation import COVERAGE
from logger.steps.brief import Brief, Equal, Top
from logger.steps.option import Option, Options, Verdict
from logger.steps.words import Words, counted


def told(options: Options, brief: Brief) -> list[str]:
    """Everything about the options, the best in full."""
    words = Words(brief.shown_in)
    lines = [f"Total rise {words.length(options.rise_m)}, total run {words.length(options.run_m)}."]
    lines += [f"Note: {note}." for note in options.notes]
    if not options.options:
        return [*lines, "", "No layout can be.", *_refused(options)]
    lines += ["", options.ranking]
    for place, option in enumerate(options.options):
        lines += ["", f"{place + 1}. {headline(option, brief)}"]
        lines += [f"   {line}" for line in _figures(option, words)]
        if place == options.chosen:
            lines += [f"   {line}" for line in _in_full(option, brief, words)]
        lines += [f"   {line}" for line in _findings(option, all_of_them=place == options.chosen)]
    lines += ["", *_trust(options, words), *_refused(options), "", *_next(options)]
    return lines


def headline(option: Option, brief: Brief) -> str:
    """`12 risers, 10 treads, 2 landings, top tread flush with the patio`."""
    parts = [
        counted(option.risers, "riser"),
        counted(option.treads, "tread"),
        counted(len(option.landings), "landing"),
    ]
    what = brief.steps.head or "what is there"
    if brief.steps.top is Top.GRADE:
        parts.append(f"last riser up to {what}")
    else:
        last = "landing" if option.landings and option.landings[-1].after_riser == option.risers else "tread"
        parts.append(f"top {last} flush with {what}")
    return ", ".join(parts)


def explained(options: Options, brief: Brief, risers: int) -> list[str]:
    """Why a count is where it is, or why it cannot be."""
    words = Words(brief.shown_in)
    for place, option in enumerate(options.options):
        if option.risers == risers:
            best = options.options[options.chosen]
            lines = [headline(option, brief), *_figures(option, words), *_in_full(option, brief, words)]
            lines += _findings(option, all_of_them=True)
            if place != options.chosen:
                lines.append(f"Place {place + 1} of {len(options.options)}. {options.ranking}")
                lines += _against(option, best, words)
            return lines
    for refusal in options.refused:
        if refusal.risers == risers:
            lines = [f"{counted(risers, 'riser')} cannot be:"]
            lines += [f"  {cause.rule}: {cause.text}" for cause in refusal.causes]
            return lines + [f"  would mend it: {mend}" for mend in refusal.mends]
    counts = sorted([option.risers for option in options.options] + [r.risers for r in options.refused])
    return [f"{counted(risers, 'riser')} is out of the question: counts from {counts[0]} to {counts[-1]} were tried."]


def _against(option: Option, best: Option, words: Words) -> Iterator[str]:
    yield (
        f"Beside {best.risers} risers: nosing to nosing {words.small(option.nosing_rise_m)} against "
        f"{words.small(best.nosing_rise_m)}, "
        f"twice the rise plus the tread {words.length(option.step_rule_m)} against {words.length(best.step_rule_m)}, "
        f"{option.fit_m2:.3f} m2 off the ground against {best.fit_m2:.3f} m2, "
        f"{counted(len(option.landings), 'landing')} against {len(best.landings)}."
    )


def _figures(option: Option, words: Words) -> Iterator[str]:
    heights = f"face {words.small(option.face_m)}, nosing to nosing {words.small(option.nosing_rise_m)}"
    yield f"{heights}, tread {words.small(option.tread_m)}"
    if option.landings:
        places = (f"{words.length(landing.depth_m)} after riser {landing.after_riser}" for landing in option.landings)
        yield "landings: " + ", ".join(places)


def _in_full(option: Option, brief: Brief, words: Words) -> Iterator[str]:
    yield consequence(option, brief, words)
    yield "riser lines at " + ", ".join(words.station(x) for x in option.face_stations_m)
    yield (
        f"off the ground: {option.ground_above_m2:.3f} m2 above the finished surface, "
        f"{option.ground_below_m2:.3f} m2 below it"
    )
    yield from (f"adjusted: {change}" for change in option.adjusted)


def consequence(option: Option, brief: Brief, words: Words) -> str:
    """What falls take out of the rise: `84 less 4 5/8 of fall = 79 3/8, by 12 = 6 5/8`."""
    rise_m = option.rise_m or 0.0
    climbed_m = sum(option.faces_m)
    by = f"{words.length(rise_m)} less {words.small(rise_m - climbed_m)} of fall = {words.length(climbed_m)}"
    if brief.steps.equal is Equal.NOSING and option.fall > 0:
        return f"{by}, as first faces of {words.small(max(option.faces_m))} and others of {words.small(option.face_m)}"
    return f"{by}, by {option.risers} = {words.small(option.face_m)}"


def _findings(option: Option, *, all_of_them: bool) -> Iterator[str]:
    for finding in option.findings:
        if all_of_them or finding.status in (Verdict.FAIL, Verdict.WARN):
            clause = f" {finding.clause}" if finding.clause else ""
            yield f"{finding.status:<4} {finding.rule}{clause}: {finding.text}"


def _trust(options: Options, words: Words) -> Iterator[str]:
    """How far the uncertainty of the ground reaches, and how near another count is."""
    sure = options.options[options.chosen].certainty
    if sure is not None and sure.u_rise_m > 0:
        yield (
            f"Total rise known to ± {words.fine(COVERAGE * sure.u_rise_m)} (95 %), "
            f"a face to ± {words.fine(COVERAGE * sure.u_face_m)}; "
            f"chance that the last riser stays even within {words.small(sure.even_within_m)}: {sure.even_chance:.1%}."
        )
    if options.flip_m is not None:
        way = "more" if options.flip_m > 0 else "less"
        yield f"Another count would come first if the rise were {words.length(abs(options.flip_m))} {way}."
    if options.trade_offs:
        counts = ", ".join(str(options.options[i].risers) for i in sorted(options.trade_offs))
        yield f"No other beats these at once in fit, ease, landings and units: {counts} risers."


def _refused(options: Options) -> Iterator[str]:
    for refusal in options.refused:
        yield f"Not {refusal.risers}: " + "; ".join(cause.text for cause in refusal.causes) + "."
        if refusal.mends and not options.options:
            yield "    would mend it: " + "; or ".join(refusal.mends) + "."


def _next(options: Options) -> Iterator[str]:
    if options.estimate_only:
        yield "Next: walk the slope (risewalk walk), then steps again with the session."
    else:
        yield "Next: risewalk setout with the same FILE and brief for the marks; --explain N for another count."
