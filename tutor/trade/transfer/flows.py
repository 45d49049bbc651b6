"""Who gives how much to whom, as long as nothing changes: powers in W, all of them 0 or more unless said otherwise."""

from enum import StrEnum
from typing import NamedTuple

from tutor.trade.transfer.system import Source, System

_REPRESENTATION = 1e-12  # so much of a power may appear or vanish through binary rounding


class Mode(StrEnum):
    """What is connected to the loads' circuit."""

    SUPPLY = "supply"
    INVERTER = "inverter"
    TRANSFER = "transfer"
    OFF = "off"

    @property
    def live(self) -> bool:
        """Whether the loads' circuit has voltage."""
        return self in (Mode.SUPPLY, Mode.INVERTER)


class Flow(NamedTuple):
    """The powers of one interval (W).  `battery_power` is positive while charging and negative while discharging.

    What `from_array`, `from_battery` and `from_supply` say is counted at the loads and adds up to `served`.
    `charge_from_array` and `charge_from_supply` are counted at the battery, `supply_charge` at the supply.
    `supply_standby` is what the supply gives for the inverter-charger's own draw.  `losses` are those outside the
    battery; `stored_power` is how fast the stored energy changes, so that the battery loses the rest of its power.
    """

    asked: float
    served: float
    from_array: float
    from_battery: float
    from_supply: float
    charge_from_array: float
    charge_from_supply: float
    supply_charge: float
    battery_power: float
    array_used: float
    array_curtailed: float
    losses: float
    supply_standby: float
    stored_power: float

    @property
    def unserved(self) -> float:
        """What the schedule asks for and nothing feeds."""
        return self.asked - self.served

    @property
    def supply_power(self) -> float:
        """All that is taken from the supply."""
        return self.from_supply + self.supply_charge + self.supply_standby

    @property
    def storage_losses(self) -> float:
        """What the battery loses in charging or discharging."""
        return self.battery_power - self.stored_power

    @property
    def inverter_output(self) -> float:
        """What the inverter gives to the loads."""
        return self.from_array + self.from_battery

    @property
    def sources(self) -> dict[Source, float]:
        """Which sources feed the loads, and how much each."""
        parts = {Source.ARRAY: self.from_array, Source.BATTERY: self.from_battery, Source.SUPPLY: self.from_supply}
        return {source: power for source, power in parts.items() if power > 0}


def inverter_demand(system: System, load: float) -> float:
    """What the inverter takes on the direct-current side to feed a load: P / efficiency + its own draw."""
    return load / system.inverter_efficiency + system.idle_power


def assistance(system: System, load: float, array: float) -> float:
    """What the array gives at the loads while the supply carries them."""
    if not system.array_assists or array <= system.idle_power:
        return 0.0
    return min(load, (array - system.idle_power) * system.inverter_efficiency, system.inverter_power)


def supply_fits(system: System, load: float, array: float) -> bool:
    """Tell whether the supply can carry a load within the pass-through limit."""
    from_array = assistance(system, load, array)
    standby = standby_draw(system, from_array)
    return load - from_array + standby <= system.supply_limit * (1 + _REPRESENTATION)


def standby_draw(system: System, from_array: float) -> float:
    """What the inverter-charger draws itself from the supply; nothing while its inverter runs on the array anyway."""
    return 0.0 if from_array > 0 else system.standby_power


def flow_on_inverter(system: System, asked: float, load: float, array: float, room: float) -> Flow:
    """The flows while the inverter feeds the loads; `room` is the most that the battery may be charged with.

    The supply does not charge meanwhile: it would only feed the loads by a detour over the battery.
    """
    demand = inverter_demand(system, load)
    if array < demand:
        from_array, drawn = load * array / demand, demand - array
        stored = _stored_power(system, -drawn)
        return Flow(asked, load, from_array, load - from_array, 0, 0, 0, 0, -drawn, array, 0, demand - load, 0, stored)
    charge, _ = _charging(system, room, array - demand, 0)
    left, stored = array - demand - charge, _stored_power(system, charge)
    return Flow(asked, load, load, 0, 0, charge, 0, 0, charge, demand + charge, left, demand - load, 0, stored)


def flow_on_supply(system: System, demand: float, load: float, array: float, room: float) -> Flow:
    """The flows while the supply carries the loads: what it may give beyond them it gives to the charger."""
    from_array = assistance(system, load, array)
    to_inverter = inverter_demand(system, from_array) if from_array > 0 else 0.0
    from_supply, standby = load - from_array, standby_draw(system, from_array)
    left = array - to_inverter if array - to_inverter > array * _REPRESENTATION else 0.0
    spare = max(0.0, system.supply_limit - from_supply - standby)
    return _charge_beside(system, demand, (load, from_array, from_supply), (to_inverter, left, spare), room, standby)


def flow_without_loads(
    system: System, demand: float, array: float, room: float, *, supply: bool, from_battery: bool
) -> Flow:
    """The flows while the loads' circuit is dead: array and, where it is in use, the supply charge the battery.

    The inverter-charger draws for itself from the supply, else from the array, else from the battery where it may.
    """
    limit = system.supply_limit if supply else 0.0
    standby = min(system.standby_power, limit)
    by_array = min(system.standby_power - standby, array)
    drawn = system.standby_power - standby - by_array if from_battery else 0.0
    flow = _charge_beside(system, demand, (0.0, 0.0, 0.0), (0.0, array - by_array, limit - standby), room, standby)
    return flow._replace(
        array_used=flow.array_used + by_array,
        losses=flow.losses + by_array + drawn,
        battery_power=flow.battery_power - drawn,
        stored_power=flow.stored_power + _stored_power(system, -drawn),
    )


def _charge_beside(
    system: System,
    demand: float,
    at_loads: tuple[float, float, float],
    behind: tuple[float, float, float],
    room: float,
    standby: float,
) -> Flow:
    load, from_array, from_supply = at_loads
    to_inverter, array_left, supply_spare = behind
    by_array, by_supply = _charging(system, room, array_left, supply_spare * system.charger_efficiency)
    drawn = min(by_supply / system.charger_efficiency, supply_spare)
    return Flow(
        asked=demand,
        served=load,
        from_array=from_array,
        from_battery=0.0,
        from_supply=from_supply,
        charge_from_array=by_array,
        charge_from_supply=by_supply,
        supply_charge=drawn,
        battery_power=by_array + by_supply,
        array_used=to_inverter + by_array,
        array_curtailed=array_left - by_array,
        losses=(to_inverter - from_array) + (drawn - by_supply) + standby,
        supply_standby=standby,
        stored_power=_stored_power(system, by_array + by_supply),
    )


def _stored_power(system: System, battery_power: float) -> float:
    """How fast the stored energy changes: less than what goes in, more than what comes out."""
    if battery_power > 0:
        return battery_power * system.battery_charge_efficiency
    return battery_power / system.battery_discharge_efficiency


def _charging(system: System, room: float, array: float, supply: float) -> tuple[float, float]:
    """Share the charging (W at the battery) among those who may charge, first one first."""
    given = {Source.ARRAY: 0.0, Source.SUPPLY: 0.0}
    ready = {Source.ARRAY: array, Source.SUPPLY: supply}
    for source in system.charger_priority:
        given[source] = min(room, ready[source])
        room -= given[source]
    return given[Source.ARRAY], given[Source.SUPPLY]
