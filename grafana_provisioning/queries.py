"""Questions to InfluxDB as Grafana asks them, and the typed query that carries one in a panel."""

from dataclasses import dataclass
from typing import Any

from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.cog.runtime import DataqueryConfig
from grafana_foundation_sdk.cog.variants import Dataquery
from grafana_foundation_sdk.models.dashboard import DataSourceRef

SOURCE = DataSourceRef(type_val="influxdb", uid="coldside")
HERE = "\"site\" = '$site' AND \"origin\" = '$origin'"
CHAMBER = "\"chamber\" = '$chamber'"
USABLE = "(grade < 2 OR count > 0)"
"""Good and uncertain samples, and roll-ups, which have no grade."""


@dataclass
class InfluxQuery(Dataquery):
    """One InfluxQL statement; `form` is `time_series`, `table` or `logs`."""

    ref_id: str
    query: str
    form: str = "time_series"
    alias: str = ""

    def to_json(self) -> dict[str, Any]:
        """As Grafana stores it."""
        return {
            "refId": self.ref_id,
            "datasource": SOURCE,
            "rawQuery": True,
            "query": self.query,
            "resultFormat": self.form,
            "alias": self.alias,
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> "InfluxQuery":
        """The opposite."""
        return cls(data["refId"], data["query"], data["resultFormat"], data["alias"])


class Ask(Builder[InfluxQuery]):
    """Makes one for a panel."""

    def __init__(self, query: str, *, ref_id: str = "A", form: str = "time_series", alias: str = "") -> None:
        self._query = InfluxQuery(ref_id, query, form, alias)

    def build(self) -> InfluxQuery:
        """The query."""
        return self._query


def variant() -> DataqueryConfig:
    """Tells the SDK how to read such a query."""
    return DataqueryConfig(identifier="influxdb", from_json_hook=InfluxQuery.from_json)


def mean(kind: str, where: str, by: str = "chamber", fill: str = "null") -> str:
    """The mean of a kind of series over each interval, from samples or roll-ups as the `detail` variable says."""
    source = f"/^{kind}${{detail:raw}}/"
    return (
        f'SELECT mean("value") FROM {source} WHERE $timeFilter AND {HERE} AND {where} AND {USABLE} '
        f'GROUP BY time($__interval), "{by}" fill({fill})'
    )


def last(kind: str, where: str, by: str = "chamber", fill: str = "previous") -> str:
    """The last value in each interval, held until the next is told."""
    return (
        f'SELECT last("value") FROM "{kind}" WHERE $timeFilter AND {HERE} AND {where} AND grade < 4 '
        f'GROUP BY time($__interval), "{by}" fill({fill})'
    )


def newest(kind: str, where: str, by: str = "chamber") -> str:
    """One value each: the newest in the range."""
    return f'SELECT last("value") FROM "{kind}" WHERE $timeFilter AND {HERE} AND {where} AND grade < 2 GROUP BY "{by}"'


def told(kind: str, where: str = "", columns: str = '"chamber", "name", "who", "text"') -> str:
    """Annotations of one kind, newest first."""
    more = f" AND {where}" if where else ""
    return (
        f'SELECT {columns} FROM "annotation" WHERE $timeFilter AND {HERE} AND "kind" = \'{kind}\'{more} '
        "ORDER BY time DESC LIMIT 500"
    )


def named(name: str) -> str:
    """Series of one name."""
    return f"\"name\" = '{name}'"


def named_like(pattern: str) -> str:
    """Series whose name matches."""
    return f'"name" =~ /{pattern}/'


def measured_in(unit: str) -> str:
    """Series of one unit."""
    return f"\"unit\" = '{unit}'"
