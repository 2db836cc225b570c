"""What a settings file will do, in plain words and the reader's units."""

from collections.abc import Iterator
from datetime import date
from urllib.parse import urlsplit

from pydantic import BaseModel

from haulm import units
from haulm.garden import Bed, Garden, Place, Planting, Season, StoreKind
from haulm.settings.lines import KeyPath
from haulm.settings.load import Settings
from haulm.settings.names import dotted
from haulm.settings.quantities import tidy, unit_of
from haulm.settings.table import keys_of, list_words
from haulm.settings.thresholds import FrostThresholds, PlantingThresholds, Thresholds
from haulm.settings.water_thresholds import WaterThresholds
from haulm.settings.web_address import lies_inside
from haulm.units import Display


def describe(settings: Settings) -> list[str]:
    """What these settings will do, a sentence or two a line."""
    garden = settings.garden
    return [
        _place(garden.place),
        *(_bed(bed, garden.place.display) for bed in garden.beds),
        *(_planting(planting, garden, settings.thresholds.planting) for planting in garden.plantings),
        *([] if garden.plantings else ["Nothing is to be planted yet: there is no [plantings] table."]),
        _store(garden.store),
        _frost(settings.thresholds.frost, garden.place.display),
        _water(settings.thresholds.water, garden.place.display),
        *_weather(settings),
        _evening(settings),
        _letter(settings),
        *_sent(settings),
        *_inside(settings),
        *settings.notes,
        *changed(settings.thresholds),
    ]


def changed(thresholds: Thresholds) -> list[str]:
    """One line for each threshold that is not at its default."""
    return [
        f"Changed: {dotted(path)} is {now}, where the default is {usual}."
        for path, now, usual in _differences(thresholds, Thresholds(), ("thresholds",))
    ]


def _differences(now: BaseModel, usual: BaseModel, path: KeyPath) -> Iterator[tuple[KeyPath, str, str]]:
    names = {field.alias or name: name for name, field in type(now).model_fields.items()}
    for key, field in keys_of(type(now)).items():
        own, default = getattr(now, names[key]), getattr(usual, names[key])
        if isinstance(own, BaseModel):
            yield from _differences(own, default, (*path, key))
        elif own != default:
            unit = unit_of(field)
            write = unit.write if unit else str
            yield (*path, key), write(own), "none" if default is None else write(default)


def _temperature(celsius: float, display: Display) -> str:
    if display is Display.US:
        return f"{units.fahrenheit_from_celsius(celsius):.0f} °F"
    return f"{celsius:.1f} °C".replace(".0 ", " ").replace("-", "−")


def _length(metres: float, display: Display) -> str:
    if display is Display.US:
        return f"{tidy(round(units.inches_from_mm(metres * 1000.0), 1))} in"
    return f"{tidy(metres * 100.0)} cm"


def _side(metres: float, display: Display) -> str:
    return f"{tidy(units.feet_from_metres(metres))} ft" if display is Display.US else f"{tidy(metres)} m"


def _depth_of_water(mm: float, display: Display) -> str:
    return f"{tidy(round(units.inches_from_mm(mm), 1))} in" if display is Display.US else f"{tidy(mm)} mm"


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _place(place: Place) -> str:
    north = "N" if place.latitude_deg >= 0 else "S"
    east = "E" if place.longitude_deg >= 0 else "W"
    where = f"{abs(place.latitude_deg):.2f}° {north}, {abs(place.longitude_deg):.2f}° {east}"
    reads = "feet, inches and °F" if place.display is Display.US else "metres, millimetres and °C"
    return (
        f"{place.name}: {where}, {_side(place.elevation_m, place.display)} up, on the clock of {place.zone}; "
        f"letters in {reads}."
    )


def _bed(bed: Bed, display: Display) -> str:
    size = f"{_side(bed.length_m, display)} by {_side(bed.width_m, display)}"
    soil = f"{_length(bed.soil_depth_m, display)} of {bed.texture}"
    if not bed.straw:
        return f"Bed {bed.name}: {size}, {soil}, no straw yet."
    newest = bed.straw[-1]
    return f"Bed {bed.name}: {size}, {soil}, {_length(newest.depth_m, display)} of straw since {_day(newest.since)}."


def _planting(planting: Planting, garden: Garden, thresholds: PlantingThresholds) -> str:
    display = garden.place.display
    lies = "on the soil" if planting.depth_m == 0 else f"{_length(planting.depth_m, display)} deep"
    spring = planting.season is Season.SPRING
    limit = thresholds.soil_ready_spring_c if spring else thresholds.soil_ready_autumn_c
    warm = f"has been at {_temperature(limit, display)} or {'warmer' if spring else 'colder'}"
    days = "1 day" if thresholds.ready_days == 1 else f"{thresholds.ready_days} days running"
    bed = garden.bed(planting.bed).name
    return (
        f"Planting {planting.name} ({planting.maturity}, {planting.habit}) in {bed}, laid {lies}: between "
        f"{_day(planting.window_first)} and {_day(planting.window_last)}, once the soil {warm} for {days}."
    )


def _store(kind: StoreKind) -> str:
    within = {StoreKind.COOL_ROOM: ", unheated, in the house", StoreKind.HOUSE: ", heated"}.get(kind, "")
    return f"Store: a {kind.value}{within}; its warmth is estimated from the outdoor air and from your readings."


def _frost(frost: FrostThresholds, display: Display) -> str:
    watched = "1 night" if frost.nights_ahead == 1 else f"{frost.nights_ahead} nights"
    return (
        f"Frost: {watched} ahead are watched; a heads-up from {frost.heads_up_chance:.0%} for "
        f"{_temperature(frost.heads_up_c, display)}, and cover from {frost.act_chance:.0%} for "
        f"{_temperature(frost.act_c, display)} at the leaves."
    )


def _water(water: WaterThresholds, display: Display) -> str:
    target = f"{_depth_of_water(water.weekly_target_mm, display)} a week, rain and waterings together"
    by = "the weekly target decides" if water.way == "weekly" else "how dry the root zone is decides"
    return f"Water: {target}; {by}."


def _weather(settings: Settings) -> Iterator[str]:
    weather = settings.weather
    if weather.source == "stations":
        told = f"Weather: fetched from {list_words(weather.stations, 'and')}"
        forecasts = list_words(weather.forecasts, "else") if weather.forecasts else ""
        yield f"{told}; forecast of {forecasts}." if forecasts else f"{told}; {_NO_FORECAST}"
        yield f"The weather services are told {weather.contact} as the address at which you can be reached."
    elif weather.forecast_file is None:
        yield f"Weather: from {weather.file}{_hours(settings)}; {_NO_FORECAST}"
    else:
        yield f"Weather: from {weather.file}{_hours(settings)}; forecast from {weather.forecast_file}."


_NO_FORECAST = "no forecast, so no frost and no rain can be foretold."


def _inside(settings: Settings) -> Iterator[str]:
    """Addresses that lead to this machine or its network: what can be reached there, haulm can be made to ask."""
    post = settings.post
    hosts = {
        "post.mail.host": post.mail.host if post.mail else "",
        "post.mailbox.host": post.mailbox.host if post.mailbox else "",
        "post.webhook.url": _host(post.webhook.url) if post.webhook else "",
        "post.heartbeat.url": _host(post.heartbeat.url.get_secret_value()) if post.heartbeat else "",
    }
    network = settings.weather.network.model_dump()
    hosts |= {f"weather.network.{key}": _host(str(url)) for key, url in network.items() if "://" in str(url)}
    for key, host in hosts.items():
        where = lies_inside(host) if host else ""
        if where:
            yield f"Mind: {key} ({host}) leads to {where}. That is asked as it stands; see that it is meant."


def _host(url: str) -> str:
    return urlsplit(url).hostname or ""


def _hours(settings: Settings) -> str:
    return f", its hours from {settings.weather.hours_file}" if settings.weather.hours_file is not None else ""


def _evening(settings: Settings) -> str:
    letter = settings.letter
    if not letter.evening:
        return "Evenings: the coming night is not looked at again."
    again = " and two hours after sunset" if letter.evening_second_look else ""
    return f"Evenings: the coming night is looked at again {letter.evening_hours_before_dusk} h before dusk{again}."


def _letter(settings: Settings) -> str:
    post = settings.post
    kept = [f"in the folder {post.folder}"] if post.folder else []
    kept += ["in the log"] if post.log else []
    told = f"Letter: each morning at {settings.letter.at:%H:%M}{_for(settings)}"
    if kept:
        return f"{told}, kept {list_words(kept, 'and')}."
    return f"{told}." if post.mail or post.webhook else f"{told}, kept nowhere: set post.folder or post.log."


def _for(settings: Settings) -> str:
    names = [recipient.name for recipient in settings.garden.recipients]
    return f" for {list_words(names, 'and')}" if names else ""


def _sent(settings: Settings) -> Iterator[str]:
    mail, webhook = settings.post.mail, settings.post.webhook
    if mail is not None:
        ways = {"tls": "over TLS", "starttls": "over STARTTLS", "none": "in the clear, on this machine"}
        login = f", logging in as {mail.user}" if mail.user else ", without a login"
        yield f"Mail: from {mail.sender} through {mail.where} {ways[mail.security]}{login}."
    elif settings.garden.recipients:
        yield "Mail: none goes out, for there is no [post.mail] table."
    mailbox = settings.post.mailbox
    if mailbox is not None:
        yield f"Answers: sent to {mailbox.address}, read from {mailbox.where} as {mailbox.user}."
    if webhook is not None:
        yield f"Webhook: the letter as JSON, signed, to {webhook.where}."
    if settings.post.heartbeat is not None:
        yield f"Heartbeat: {settings.post.heartbeat.where} is asked after each run that ends well."
