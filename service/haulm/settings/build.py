"""From the file's tables to the garden of the vocabulary."""

from haulm.garden import Bed, Garden, Habit, Maturity, Place, Planting, Recipient, Straw
from haulm.settings.file_form import BedTable, PlaceTable, PlantingTable, SettingsFile


def garden_of(file: SettingsFile, stem: str) -> Garden:
    """The garden that a settings file describes; `stem`, the file's name, is its key where the file gives none."""
    return Garden(
        key=file.place.key or stem,
        place=_place(file.place),
        beds=tuple(_bed(key, table) for key, table in file.beds.items()),
        plantings=tuple(_planting(key, table) for key, table in file.plantings.items()),
        recipients=tuple(Recipient(key, table.name, table.address) for key, table in file.recipients.items()),
        store=file.store.kind,
    )


def _place(table: PlaceTable) -> Place:
    return Place(
        name=table.name,
        latitude_deg=table.latitude,
        longitude_deg=table.longitude,
        elevation_m=table.elevation_m,
        zone=table.zone,
        display=table.units,
        clear_night_offset_c=table.clear_night_offset_c,
    )


def _bed(key: str, table: BedTable) -> Bed:
    straw = sorted((Straw(layer.since, layer.depth_m) for layer in table.straw), key=lambda layer: layer.since)
    return Bed(
        key=key,
        name=table.name or _titled(key),
        length_m=table.length_m,
        width_m=table.width_m,
        texture=table.texture,
        soil_depth_m=table.soil_depth_m,
        straw=tuple(straw),
        raised_m=table.raised_m,
        light=table.light,
    )


def _planting(key: str, table: PlantingTable) -> Planting:
    # Early kinds mostly stop growing of themselves, the others mostly go on (judgement).
    assumed = Habit.DETERMINATE if table.maturity is Maturity.EARLY else Habit.INDETERMINATE
    return Planting(
        key=key,
        bed=table.bed,
        name=table.name or _titled(key),
        maturity=table.maturity,
        habit=table.habit or assumed,
        season=table.season,
        spacing_m=table.spacing_m,
        depth_m=table.depth_m,
        window_first=table.window_first,
        window_last=table.window_last,
    )


def _titled(key: str) -> str:
    return key.replace("-", " ").replace("_", " ").strip().capitalize()
