"""The records of a plan: what page, terminal and JSON are made of. Lengths in s, days, hours."""

from __future__ import annotations

from dataclasses import dataclass

READY, MISSING, TOO_SLOW, NOT_KNOWN = "ready", "missing", "too slow", "not known"
INFERRED = "inferred"
"""How a question stands with what is logged; NOT_KNOWN: logged, but at which interval is not;
INFERRED: its own channels are not logged, and it is answered by what others show of them."""

NOT_LOGGED = "not logged"
"""How a channel stands that is not there yet."""


@dataclass(frozen=True)
class Interval:
    """How fast a question's channels must be read.

    slowest_s : the slowest interval that still answers it
    full_s : the interval from which nothing stays "at least"; None: `slowest_s` does
    why : the shortest thing to be seen, and the rule, as a sentence
    """

    slowest_s: float
    why: str
    full_s: float | None = None

    @property
    def wanted_s(self) -> float:
        """The interval to plan for."""
        return self.slowest_s if self.full_s is None else min(self.full_s, self.slowest_s)


@dataclass(frozen=True)
class Logged:
    """A channel that the site already has; interval_s None: not known yet (nothing loaded)."""

    role: str
    zone: int | None
    interval_s: float | None
    is_sampled: bool = True


@dataclass(frozen=True)
class PlannedQuestion:
    """A question with what it takes to answer it here.

    name : a finding's code or a measure's name; group : the plain word it can be asked by
    is_judged : whether a rule or a measure of this version answers it
    needs : roles without which there is no answer; helps : roles that settle causes
    state : the state that must occur; weather : when it does
    hours, days : least hours in that state; least full days between the visits
    also : what else it takes, '' for nothing
    standing : READY, INFERRED, MISSING, TOO_SLOW or NOT_KNOWN; None where nothing is logged yet
    inferred : where INFERRED, from what, and the expected error
    missing, too_slow : what stands in its way, as a technician says it
    cannot_tell : what stays unknown without a channel that helps, one sentence each
    """

    name: str
    group: str
    title: str
    question: str
    is_judged: bool
    needs: tuple[str, ...]
    helps: tuple[str, ...]
    interval: Interval
    state: str
    weather: str
    hours: float
    days: float
    also: str = ""
    standing: str | None = None
    inferred: str = ""
    missing: tuple[str, ...] = ()
    too_slow: tuple[str, ...] = ()
    cannot_tell: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlannedChannel:
    """A channel worth logging, best first.

    worth : how much of what was asked rests on it: each subject counts one, shared among its
        questions; to help with a cause is worth half of being needed
    label : what a technician calls it; zones : the zones it is meant for, none for equipment
    set_to_s : the interval to set; slowest_s : the slowest that answers all that was asked
    is_state : whether each change should be logged rather than a reading every so often
    needed_by, helps_with : names of questions
    where : where the probe goes; care : what to mind there
    without : what cannot be told without it
    logged : how it is logged today, '' where nothing is logged yet
    """

    role: str
    label: str
    worth: float
    zones: tuple[str, ...]
    is_state: bool
    set_to_s: float
    slowest_s: float
    needed_by: tuple[str, ...]
    helps_with: tuple[str, ...]
    where: str
    care: str
    without: str
    logged: str = ""

    @property
    def is_needed(self) -> bool:
        """Whether a question cannot be answered at all without it."""
        return bool(self.needed_by)


@dataclass(frozen=True)
class Fact:
    """One line of the form: key of site.toml, what to write, how, and what site.toml says now."""

    key: str
    label: str
    write: str
    given: str = ""


@dataclass(frozen=True)
class Station:
    """One stop of the walk: what to photograph or do there first, and its facts."""

    title: str
    first: str
    facts: tuple[Fact, ...]


@dataclass(frozen=True)
class Plan:
    """A logging plan; `name` is the site's, or 'any dual fuel system' where there is no site.

    asked : the words that were asked for; none: all that the equipment can show
    not_here : questions that this equipment cannot raise, with the reason
    days : how long to log; rows : readings of one sampled channel in that time
    """

    site_id: str | None
    name: str
    kind: str
    zones: tuple[str, ...]
    asked: tuple[str, ...]
    questions: tuple[PlannedQuestion, ...]
    channels: tuple[PlannedChannel, ...]
    not_here: tuple[tuple[str, str], ...]
    days: float
    stations: tuple[Station, ...]
    cautions: tuple[str, ...]
    has_logged: bool

    @property
    def fastest_sampled_s(self) -> float | None:
        """The shortest interval any analog channel is to be set to."""
        return min((c.set_to_s for c in self.channels if not c.is_state), default=None)
