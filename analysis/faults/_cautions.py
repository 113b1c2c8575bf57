"""The usual cautions, each written once. Common practice, no source; local codes come first."""

HEIGHT = (
    "Work at height: no roof work alone, in wind, rain or frost; use scaffold or fall protection "
    "as local codes demand. Looking from the ground with binoculars often tells enough."
)
HOT_PARTS = (
    "Collector, manifold and pipes near the roof can be above 200 °C in sunshine. Wait for the "
    "evening, or cover the tubes completely and let them cool, before touching anything."
)
STEAM = (
    "The loop is under pressure and may hold steam and hot glycol. Never open an air vent, valve "
    "or joint while the collector is hot; wear eye protection and gloves."
)
NO_COLD_FILL = (
    "Never fill or restart a hot, empty collector with cold fluid: tubes can burst and steam can "
    "shoot out of the vents."
)
SCALD = "Water at the taps can scald: check that the mixing valve works before leaving."
ELECTRICITY = (
    "Isolate pump and controller from the mains before opening them; electrical work only by "
    "whoever is licensed for it where you are."
)
GLASS = "Broken tubes have sharp edges: gloves, eye protection, and nobody below."
LOCAL_CODES = (
    "Local codes and the maker's instructions come before these hints; leave licensed work to "
    "licensed people."
)
HYGIENE = (
    "Keep the store's hygiene regime going while the solar side is out of order: the backup must "
    "still bring the water to the temperature that local rules ask for."
)
