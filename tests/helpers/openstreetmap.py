"""Answers in the shape that Overpass documents (`[out:json]`, `out geom`), of invented things."""

from saltreach.intake.services import Services
from saltreach.layers.context import NAME
from saltreach.layers.online import bring_context
from saltreach.layers.online.osm_objects import read_objects
from saltreach.layers.online.part import Call
from saltreach.layers.pack import write_part
from saltreach.layers.where import where_of

AS_OF = "2026-11-20T01:02:03Z"


def line(*lonlat):
    """A `geometry` of an answer; None stands for a node outside."""
    return [None if at is None else {"lat": at[1], "lon": at[0]} for at in lonlat]


def way(number, tags, *lonlat):
    return {"type": "way", "id": number, "tags": tags, "geometry": line(*lonlat)}


def node(number, tags, lon, lat):
    return {"type": "node", "id": number, "lat": lat, "lon": lon, "tags": tags}


def relation(number, tags, *members):
    """Members as pairs of a role and positions."""
    return {
        "type": "relation", "id": number, "tags": {"type": "multipolygon"} | tags,
        "members": [{"type": "way", "ref": at, "role": role, "geometry": line(*lonlat)}
                    for at, (role, lonlat) in enumerate(members, 1)],
    }  # fmt: skip


def answer(*elements, **more):
    return {
        "version": 0.6, "generator": "Overpass API",
        "osm3s": {"timestamp_osm_base": AS_OF, "copyright": "ODbL"}, "elements": list(elements),
    } | more  # fmt: skip


class Told:
    """In place of the way out to the network: the same answer to every request."""

    def __init__(self, *elements):
        self.elements = elements

    def json(self, _, reader):
        return reader(answer(*self.elements))


def pack_of(folder, lon, lat, *elements):
    """A region pack whose part `context` holds these elements around places."""

    def make(work):
        return bring_context.PART.bring(
            Call(where_of(lon, lat), Services(), Told(*elements), work, work)
        )

    write_part(folder, NAME, make, now="2026-11-25T00:00:00Z")
    return str(folder)


def features(*elements):
    return read_objects(answer(*elements)).features
