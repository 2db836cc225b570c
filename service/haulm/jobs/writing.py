"""What all jobs that write letters share: weather kept, the letter as it is stored, and which exit code is graver."""

from haulm.advice import Decision
from haulm.errors import Exit
from haulm.jobs.letter_forms import Forms
from haulm.jobs.observe import Observed
from haulm.jobs.observe_hours import forecast_cell, keep_coming_hours, keep_observed_hours
from haulm.settings.load import Settings
from haulm.sources.spool import Access
from haulm.steps import Step
from haulm.store.database import Database
from haulm.store.hours import forget_old
from haulm.store.letters import StoredLetter
from haulm.store.weather import keep_forecast, keep_record


def keep_weather(database: Database, settings: Settings, access: Access, observed: Observed) -> None:
    """Store the days and hours that came, and let go of what is past its time."""
    place, now = settings.garden.place, access.now
    with database.transaction(Step.WEATHER_KEPT):
        for record in observed.kept:
            keep_record(database, record, now)
        for forecast in observed.issues:
            keep_forecast(database, forecast_cell(forecast.origin, place), forecast, now)
        if observed.coming is not None:
            keep_coming_hours(database, observed.coming, place)
        forget_old(database, now)
    if settings.weather.source == "stations":
        keep_observed_hours(settings, access, database, now)


def stored_letter(decision: Decision, forms: Forms, kind: str) -> StoredLetter:
    """A decision written out, as the outbox holds it."""
    return StoredLetter(
        garden=decision.garden.key,
        kind=kind,
        day=decision.today,
        written=decision.as_of,
        subject=forms.subject,
        text=forms.text,
        html=forms.html,
        json=forms.json,
        picture=forms.picture,
    )


def gravest(*codes: Exit) -> Exit:
    """The gravest of some exit codes."""
    return max(codes, key=[Exit.DONE, Exit.PARTLY, Exit.TRY_LATER, Exit.SETTINGS].index)
