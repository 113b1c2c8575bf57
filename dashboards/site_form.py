"""The form that describes an installation: its fields, what they mean, sensible defaults.

Fields are named by the keys of the site file, so that a refusal finds its field.
"""

from dataclasses import dataclass, field

from dashboards.format import sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field; with `choices` (value, words) it is a list."""

    name: str
    label: str
    help: str = ""
    default: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    required: bool = False
    numeric: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields that belong together; a folded group is optional."""

    title: str
    about: str
    fields: tuple[Field, ...] = field(default_factory=tuple)
    folded: bool = False


_FLUIDS = (
    ("propylene_glycol", "Propylene glycol and water"),
    ("ethylene_glycol", "Ethylene glycol and water"),
    ("water", "Water"),
)
_FUELS = (
    ("", "Not given"),
    ("mains_gas", "Mains gas"),
    ("lpg", "Bottled gas"),
    ("heating_oil", "Heating oil"),
    ("electricity", "Electricity"),
    ("heat_pump", "Heat pump"),
    ("wood_pellets", "Wood pellets"),
    ("other", "Something else"),
)

# Defaults of the collector are those of the contract's own example: an invented 18-tube array.
GROUPS: tuple[Group, ...] = (
    Group(
        title="Where it stands",
        about="The sun over it, and what its local day is.",
        fields=(
            Field(name="site.name", label="Name", help="What you call it.", required=True,
                  numeric=False),
            Field(name="site.latitude", label="Latitude", required=True,
                  help="Degrees north, such as 52.4; south is negative."),
            Field(name="site.longitude", label="Longitude", required=True,
                  help="Degrees east, such as −1.5; west is negative."),
            Field(name="site.elevation_m", label="Elevation [m]", default="100", required=True,
                  help="Above the sea; within 50 m is near enough."),
            Field(name="site.timezone", label="Time zone", required=True, numeric=False,
                  help="Such as Europe/London."),
        ),
    ),
    Group(
        title="Collectors",
        about="From the roof and the test certificate. The defaults are an invented array of 18 "
        "heat-pipe tubes; put your certificate's values in their place. "
        "The form knows one array; for a roof with several, describe one here, then add the others "
        "as further [[array]] tables under “Site facts” on the page of the installation.",
        fields=(
            Field(name="array.1.collector", label="Kind", required=True, default="heat_pipe",
                  choices=(("heat_pipe", "Evacuated tubes, heat pipe"),
                           ("direct_flow", "Evacuated tubes, direct flow"),
                           ("flat_plate", "Flat plate"))),
            Field(name="array.1.tubes", label="Tubes", default="18",
                  help="Leave empty for flat plates."),
            Field(name="array.1.tubes_run", label="Tubes run", default="up",
                  choices=(("up", "Up the slope"), ("across", "Across it"))),
            Field(name="array.1.tilt_deg", label="Tilt [°]", default="35", required=True,
                  help="From the horizontal: 0 lies flat, 90 hangs on a wall."),
            Field(name="array.1.azimuth_deg", label="Faces [°]", default="180", required=True,
                  help="Clockwise from north: 90 east, 180 south, 270 west."),
            Field(name="array.1.area_m2", label="Area [m²]", default="1.86", required=True,
                  help="The area that the values below refer to."),
            Field(name="array.1.area_basis", label="Which area", default="aperture", required=True,
                  choices=(("aperture", "Aperture"), ("gross", "Gross"),
                           ("absorber", "Absorber"))),
            Field(name="array.1.eta0", label="Peak efficiency η₀", default="0.72", required=True,
                  help="Between 0 and 1, for hemispherical sun (ISO 9806)."),
            Field(name="array.1.a1_w_m2k", label="Heat loss a₁ [W/(m²·K)]", default="1.4",
                  required=True),
            Field(name="array.1.a2_w_m2k2", label="Heat loss a₂ [W/(m²·K²)]", default="0.006",
                  required=True),
            Field(name="array.1.heat_capacity_kj_m2k", label="Heat capacity [kJ/(m²·K)]",
                  default="10", required=True),
            Field(name="array.1.iam_diffuse", label="Factor for diffuse sun", default="0.92",
                  required=True),
            Field(name="array.1.iam_angles_deg", label="Angles of incidence [°]", required=True,
                  default="0, 10, 20, 30, 40, 50, 60, 70, 80, 90",
                  help="As on the certificate, separated by commas.", numeric=False),
            Field(name="array.1.iam_transversal", label="Factors across the tubes", required=True,
                  default="1, 1.01, 1.04, 1.09, 1.15, 1.20, 1.22, 1.10, 0.7, 0", numeric=False,
                  help="One for each angle."),
            Field(name="array.1.iam_longitudinal", label="Factors along the tubes", required=True,
                  default="1, 1.00, 0.99, 0.98, 0.96, 0.92, 0.85, 0.70, 0.4, 0", numeric=False,
                  help="One for each angle."),
        ),
    ),
    Group(
        title="Loop and store",
        about="What carries the heat down, and what keeps it.",
        fields=(
            Field(name="loop.fluid", label="Fluid", default="propylene_glycol", required=True,
                  choices=_FLUIDS),
            Field(name="loop.concentration", label="Share of glycol", default="0.40",
                  required=True, help="By mass, 0 to 0.7; 0 for water."),
            Field(name="loop.flow_l_min", label="Flow [l/min]", required=True, default="2.0",
                  help="As set at commissioning."),
            Field(name="loop.pump_w", label="Pump [W]", default="40", required=True),
            Field(name="loop.kind", label="System", default="filled", required=True,
                  choices=(("filled", "Filled, under pressure"), ("drain_back", "Drain-back"))),
            Field(name="store.volume_l", label="Store [l]", default="200", required=True),
            Field(name="store.limit_c", label="Store limit [°C]", default="65", required=True,
                  help="Where the controller stops charging."),
        ),
    ),
    Group(
        title="What else is known",
        about="All optional. It sharpens findings, and savings need the fuel.",
        folded=True,
        fields=(
            Field(name="loop.pressure_bar", label="Cold fill pressure [bar]"),
            Field(name="loop.safety_valve_bar", label="Safety valve [bar]"),
            Field(name="loop.pipe_length_m", label="Pipes, both ways [m]"),
            Field(name="store.heat_loss_w_k", label="Heat loss of the store [W/K]"),
            Field(name="hot_water.litres_per_day", label="Hot water [l/day]",
                  help="What the design assumed."),
            Field(name="hot_water.occupants", label="People in the house",
                  help="Where the litres are not known."),
            Field(name="store.solar_volume_l", label="Part of the store for the sun [l]",
                  help="What the backup does not heat."),
            Field(name="backup.fuel", label="What else heats", choices=_FUELS),
            Field(name="backup.efficiency", label="Its efficiency",
                  help="Useful heat per unit of fuel, such as 0.84."),
            Field(name="backup.price_per_kwh", label="Price per kWh of fuel"),
            Field(name="backup.currency", label="Currency", help="Such as GBP or EUR.",
                  numeric=False),
            Field(name="backup.electricity_price_per_kwh", label="Price per kWh of electricity"),
            Field(name="design.monthly_kwh", label="Promised heat by month [kWh]",
                  help="Twelve numbers, January first.", numeric=False),
            Field(name="log.timezone", label="Clock of the logger", numeric=False,
                  help="If it does not run on local time, such as UTC."),
        ),
    ),
)  # fmt: skip


# Where a field has no default: something that every site file may hold.
_PLAIN = {
    "site.name": "A site", "site.latitude": "0", "site.longitude": "0", "site.timezone": "UTC",
}  # fmt: skip


def sound_values() -> dict[str, str]:
    """Give for each field a value that is allowed."""
    return {item.name: item.default for group in GROUPS for item in group.fields} | _PLAIN


def refusal_words(what: str) -> str:
    """Write at a field what is allowed there; the field itself shows name and value."""
    _, parted, rest = what.partition("; ")
    if not parted:
        return sentence(what)
    return sentence(rest.replace("it must be", "needed:", 1))


def field_of(key: str | None) -> str | None:
    """Give the field that shows an error of a key, or None where the form has none."""
    names = {item.name for group in GROUPS for item in group.fields}
    if key is None:
        return None
    return (
        key
        if key in names
        else key.replace("array.", "array.1.", 1)
        if key.replace("array.", "array.1.", 1) in names
        else None
    )
