"""The standards, books and libraries that formulas and check values lean on.

One named constant for each work; `place` is the clause, equation or table where it matters and
stays empty for the work as a whole. Works marked "quoted from secondary text" were not opened
themselves: their values come from public excerpts or public implementations.
"""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Source:
    """A published work and the place in it.

    Attributes
    ----------
    work : title, edition
    place : clause, equation, table or page; empty for the whole work
    """

    work: str
    place: str = ""

    def __post_init__(self) -> None:
        if not self.work.strip():
            raise ValueError("a source names its work")

    def __str__(self) -> str:
        return f"{self.work}, {self.place}" if self.place else self.work

    def at(self, place: str) -> "Source":
        """Give the same work with another place in it."""
        return replace(self, place=place)


ISO_9806 = Source("ISO 9806:2017, Solar thermal collectors: test methods")
ISO_24194 = Source("ISO 24194:2022, Collector fields: check of performance")
EN_1434 = Source("EN 1434-1, Thermal energy meters: general requirements")
MID_ANNEX_VI = Source("Directive 2014/32/EU (measuring instruments)", "Annex VI")
IEC_60751 = Source("IEC 60751:2022, Industrial platinum resistance thermometers")
GUM = Source("JCGM 100:2008, Guide to the expression of uncertainty in measurement")
IAPWS_95 = Source("IAPWS R6-95, Thermodynamic properties of ordinary water substance")
MELINDER = Source(
    "Melinder, Properties of secondary working fluids for indirect systems (IIR 2010)",
    "read through CoolProp, INCOMP::MPG and INCOMP::MEG",
)
ASHRAE_GLYCOL = Source(
    "ASHRAE Handbook Fundamentals, physical properties of secondary coolants",
    "aqueous solutions of propylene and ethylene glycol, percent by volume",
)
STEAM_POWER_2008 = Source(
    "EuroSun 2008, paper on the steam-producing power of collectors in stagnation",
    "fit over 210 outdoor experiments, quoted from secondary text",
)
THEUNISSEN_BECKMAN = Source(
    "Theunissen & Beckman, Solar transmittance characteristics of evacuated tubular collectors",
    "Solar Energy 35 (1985), from memory",
)
DUFFIE_BECKMAN = Source("Duffie & Beckman, Solar Engineering of Thermal Processes")
SPA = Source(
    "Reda & Andreas, Solar position algorithm for solar radiation applications, NREL/TP-560-34302"
)
SPENCER = Source(
    "Spencer, Fourier series representation of the position of the sun, Search 2 (1971)"
)
KOPP_LEAN = Source("Kopp & Lean, A new, lower value of total solar irradiance, GRL 38 (2011)")
ERBS = Source("Erbs, Klein & Duffie, Solar Energy 28 (1982)")
HAY_DAVIES = Source(
    "Hay & Davies, Calculation of the solar radiation incident on an inclined surface"
)
REINDL = Source(
    "Reindl, Beckman & Duffie, Evaluation of hourly tilted surface radiation models (1990)"
)
PEREZ = Source(
    "Perez, Ineichen, Seals, Michalsky & Stewart, Solar Energy 44 (1990)",
    "coefficients of all sites, as in pvlib",
)
KASTEN_YOUNG = Source("Kasten & Young, Applied Optics 28 (1989)", "constants as in pvlib")
INEICHEN = Source(
    "Ineichen & Perez, A new airmass independent formulation for the Linke turbidity coefficient, "
    "Solar Energy 73 (2002)",
    "as in pvlib",
)
HAURWITZ = Source(
    "Haurwitz, Insolation in relation to cloudiness, J. Meteorology 2 and 3 (1945, 1946)"
)
EN_1057 = Source("EN 1057, Copper tubes for water and gas", "usual sizes, from memory")
ISO_12241 = Source(
    "ISO 12241, Thermal insulation for building equipment: calculation rules", "from memory"
)
BUILDING_ENERGY_ACT = Source(
    "German building energy act (GEG 2020)", "annex 8, thickness at 0.035 W/(m K), from memory"
)
VDI_2169 = Source("VDI 2169, Function control and yield assessment of solar thermal systems")
EN_15316_4_3 = Source(
    "EN 15316-4-3:2017, Energy performance of buildings: solar thermal systems, method 2",
    "quoted from public implementations, NTA 8800 among them",
)
SAP_2012 = Source(
    "SAP 2012 v9.92, Standard Assessment Procedure for energy rating of dwellings",
    "quoted from public implementations",
)
F_CHART = Source(
    "Klein, Beckman & Duffie, A design procedure for solar heating, Solar Energy 18 (1976)"
)
BURCH_CHRISTENSEN = Source(
    "Burch & Christensen, Towards development of an algorithm for mains water temperature (2007)",
    "from memory",
)
COMPLIANCE_GUIDE = Source(
    "Domestic Building Services Compliance Guide (2013)",
    "solar water heating: solar volume at least 0.8 of the day's hot water, from memory",
)
HSE_HOT_WATER = Source(
    "HSE, Legionnaires' disease L8 and HSG274 part 2; Managing hot water scald risks",
    "store at 60 °C and above; burns within 30 s at 55 °C, 5 s at 60 °C; quoted from secondary "
    "text",
)
WHO_LEGIONELLA = Source(
    "WHO, Legionella and the prevention of legionellosis (2007)",
    "60 °C at the heater; 90 % killed in about 2 min at 60 °C; from memory",
)
GLYCOL_AGEING = Source(
    "Published guidance of antifreeze and collector practice on glycol above 120 °C",
    "ageing above about 120 °C, usual long-term limit 160 to 170 °C; quoted from secondary text",
)
TAPPING = Source("Regulation (EU) 812/2013, Annex VII: tapping profiles")
