"""Words of the trade that stand over columns, by language, and the idea each stands for.

A table of data. Words are written without accents and in small letters (see `words.folded`).
Five letters and more are found anywhere in a word (German and Dutch join words), four at its
beginning or behind another word of the list, shorter ones and those with "=" as whole words only.
Trade words of six languages: common practice, no source.
"""

_ENGLISH = """
collector: collector panel panels absorber manifold coll tubes array
roof: roof
solar: solar =sol
primary: primary =prim
circuit: circuit loop
supply: supply
flow: flow =flw
return: return =ret =rtn
out: outlet =out =from leaving
in: inlet =in =to =into entering
hot: =hot warm
cold: =cold cool
pipe: pipe pipework
store: store storage cylinder tank =cyl vessel buffer accumulator
boiler: boiler
bottom: bottom lower =low =btm =bot =base
middle: middle centre center =mid
top: =top upper =high =upr
outside: outdoor outside ambient external exterior =oat =amb weather
air: =air
radiation: irradiance irradiation radiation insolation solarimeter pyranometer =sun sunshine
plane: plane tilted tilt inclined =poa slope sloped
horizontal: horizontal =ghi horiz
global: global
wind: wind anemometer gust
rate: flowrate flowmeter =vfr =lpm =lph =gpm throughput
speed: speed velocity =rpm output modulation =pwm
volume: volume litres liters litre liter gallons =vol
count: total totaliser totalizer counter register cumulative cumulated accumulated reading =tot
  =cum =sum
meter: meter =mtr
pump: pump circulator =pmp
state: =on =off relay status switch =state contact onoff enabled
pressure: pressure =press =gauge =psig
energy: energy yield =kwh quantity
heat: heat thermal
power: power =pwr =watts
backup: backup auxiliary immersion =aux booster heater element afterheating reheating
demand: demand =call request firing
water: water
mains: mains feed supplywater incoming =main
dhw: =dhw =hw hotwater domestic
tap: =tap draw drawn tapping delivery delivered faucet
exchanger: exchanger =hx =hex =phe plate
secondary: secondary =sec
charge: charge charging loading
hours: hours hour runtime =hrs running operating =run
temp: temperature temp =tmp =t
sensor: sensor probe
plant: system plant
rising: rate
foreign: room indoor radiator underfloor heating battery error fault code humidity voltage
  current signal setpoint =set target limit =cpu alarm =min minimum difference =delta
  rain snow =co2 co2 price =index =row count =no firmware mode garage pool swimming =avg average
day: =day daily =today
peak: =max maximum peak highest hottest
"""

_GERMAN = """
collector: kollektor kolektor kollek =koll =kol absorber =feld =tko =tk sammler roehren rohren
roof: dach
solar: solar =sol
primary: primaer primar =prim
circuit: kreis
supply: vorlauf vorl =vl
return: ruecklauf rucklauf rueckl ruckl =rl
out: austritt auslauf ausgang =aus
in: eintritt einlauf eingang zulauf
hot: heiss warm heisse heisser
cold: kalt
pipe: strang rohr leitung
store: speicher puffer =sp =spei =tsu =tso =tsm
boiler: boiler
bottom: unten =unt =u untere unterer
middle: mitte mittig mittlere =m
top: oben =ob =o obere oberer
outside: aussen =aus umgebung =at
air: luft
radiation: strahlung einstrahlung globalstr =str solarimeter
plane: ebene geneigt neigung geneigte flaeche flache
horizontal: horizontal waagrecht waagerecht horiz =hor
global: global
wind: wind
rate: durchfluss volumenstrom durchfl durchsatz volstrom =vs foerdermenge fordermenge
speed: drehzahl geschwindigkeit geschw leistungsstufe stellgrad ansteuerung =dz
volume: volumen liter =vol
count: zaehler zahler gesamt summe zaehlerstand zahlerstand kumuliert =ges insgesamt stand
pump: pumpe pumpen =pu
state: ein einaus relais schalt =an zustand ausgang betrieb
pressure: druck
energy: waermemenge warmemenge energie ertrag =wmz =wm arbeit
heat: waerme warme
power: leistung momentan =leist
backup: nachheiz zusatz heizstab kessel brenner nachlad nacherwaerm nacherwarm ergaenzung ofen
demand: anforderung anford
water: wasser
mains: kaltwasser =kw frischwasser leitungswasser
dhw: warmwasser =ww brauchwasser trinkwarm =tww trinkwasser =bww
tap: zapf entnahme hahn
exchanger: tauscher waermetauscher warmetauscher =wt plattenwt =pwt uebertrager ubertrager
secondary: sekundaer sekundar =sek
charge: lade beladung ladung
hours: stunden betriebsstd =bs =std laufzeit betriebszeit =bst betriebsst
temp: temperatur temp
sensor: fuehler fuhler sensor geber
plant: anlage anlagen system
foreign: raum zimmer heizkreis heizkoerper heizkorper fussboden batterie fehler stoerung storung
  feuchte spannung strom signal sollwert =soll grenz alarm minimal mittelwert differenz
  status regen schwimmbad pool =nr nummer jahr =hk =diff ziel
day: =tag tages taglich taeglich heute
peak: maximal maximum spitze hochst hoechst
"""

_FRENCH = """
collector: capteur capteurs panneau panneaux absorbeur =capt insolateur
roof: toit toiture
solar: solaire =sol
primary: primaire =prim
circuit: circuit boucle
supply: depart aller =dep
return: retour =ret
out: sortie =sort
in: entree arrivee
hot: chaud chaude
cold: froid froide
pipe: tuyau tube conduite
store: ballon cuve stockage reservoir tampon accumulateur
bottom: =bas basse inferieur =inf
middle: milieu moyen =med median centre mediane
top: haut haute superieur =sup
outside: exterieur exterieure =ext dehors ambiante ambiant
air: =air
radiation: rayonnement ensoleillement irradiance irradiation =ray eclairement
plane: plan incline inclinee inclinaison
horizontal: horizontal horizontale horiz
global: global globale
wind: vent anemometre
rate: debit debitmetre
speed: vitesse =vit
volume: volume litres litre
count: compteur total totale cumul cumule cumulee index
pump: pompe circulateur =circ
state: marche arret relais etat
pressure: pression manometre
energy: energie production quantite =prod
heat: chaleur thermique calories calorifique
power: puissance =puiss
backup: appoint chaudiere resistance releve epingle bruleur
demand: demande
water: =eau
mains: =ef ville reseau eaufroide
dhw: =ecs sanitaire
tap: soutirage puisage robinet
exchanger: echangeur =ech plaques
secondary: secondaire =sec
charge: charge
hours: heures horaire duree =heure fonctionnement
temp: temperature temp
sensor: sonde
plant: installation systeme
foreign: piece ambiance chambre salon radiateur plancher chauffage batterie erreur defaut humidite
  tension courant consigne alarme mini moyenne ecart pluie piscine code
day: =jour journalier journaliere quotidien quotidienne aujourd
peak: maxi maximum maximale =pic =crete
"""

_SPANISH = """
collector: captador captadores colector colectores =placa placas paneles absorbedor
roof: tejado cubierta
solar: solar =sol
primary: primario =prim
circuit: circuito
supply: =ida impulsion
return: retorno
out: salida
in: entrada
hot: caliente
cold: fria frio
pipe: tubo tuberia
store: acumulador deposito tanque interacumulador inercia =acum
bottom: abajo inferior bajo baja =inf fondo
middle: medio media centro mitad intermedio =med
top: arriba superior alto alta =sup
outside: exterior =ext ambiente
air: aire
radiation: irradiancia radiacion irradiacion insolacion =rad
plane: plano inclinada inclinado
horizontal: horizontal horiz
global: global
wind: viento anemometro
rate: caudal caudalimetro
speed: velocidad =vel
volume: volumen litros
count: contador total acumulado acumulada totalizador totales
pump: bomba circulador
state: marcha paro rele estado
pressure: presion manometro
energy: energia produccion calorias
heat: calor termica termico
power: potencia =pot
backup: apoyo auxiliar resistencia caldera quemador
demand: demanda
water: agua
mains: =red =af =afs aguafria
dhw: =acs sanitaria
tap: consumo grifo
exchanger: intercambiador
secondary: secundario secundaria =sec
charge: carga
hours: horas funcionamiento tiempo trabajo =hora
temp: temperatura temp
sensor: sonda
plant: instalacion sistema
foreign: habitacion interior radiador suelo calefaccion bateria error fallo humedad tension
  corriente consigna alarma minima minimo diferencia lluvia piscina codigo
day: =dia diario diaria =hoy
peak: maxima maximo =pico
"""

_ITALIAN = """
collector: collettore collettori pannello pannelli assorbitore =coll
roof: tetto falda
solar: solare solari =sol
primary: primario =prim
circuit: circuito
supply: mandata =mand
return: ritorno =rit
out: uscita
in: ingresso entrata
hot: caldo calda
cold: freddo fredda
pipe: tubo tubazione
store: bollitore accumulo serbatoio puffer =boll =acc volano
bottom: basso bassa inferiore =inf =sotto fondo
middle: medio media meta centro intermedio
top: alto alta superiore =sup =sopra
outside: esterna esterno =est ambiente
air: aria
radiation: irraggiamento radiazione irradianza insolazione irradiazione
plane: piano inclinato inclinata
horizontal: orizzontale orizz
global: globale
wind: vento anemometro
rate: portata flussometro flusso flussimetro
speed: velocita =vel
volume: volume litri
count: contatore totale totali cumulato cumulata contalitri contacalorie
pump: pompa circolatore
state: acceso spento rele stato marcia
pressure: pressione manometro
energy: energia produzione resa contacalorie
heat: calore termica termico
power: potenza =pot
backup: integrazione ausiliario caldaia resistenza bruciatore =integr
demand: richiesta
water: acqua
mains: rete =af acquedotto =afs
dhw: =acs sanitaria
tap: prelievo rubinetto erogazione
exchanger: scambiatore =scamb
secondary: secondario secondaria =sec
charge: carico
hours: =ore contaore funzionamento tempo esercizio lavoro
temp: temperatura temp
sensor: sonda
plant: impianto sistema
foreign: camera stanza interna radiatore pavimento riscaldamento batteria errore guasto umidita
  tensione corrente setpoint allarme minima minimo differenza pioggia piscina
day: giorno giornaliero giornaliera =oggi
peak: massima massimo =picco
"""

_DUTCH = """
collector: collector paneel panelen absorber =coll
roof: =dak dakvoeler dakvlak
solar: zonne =zon solar
primary: primair =prim
circuit: kring circuit
supply: aanvoer
return: retour
out: uitgang uitgaand =uit uittrede uitlaat
in: =in ingang ingaand intrede inlaat
hot: warm warme =heet hete
cold: koud koude
pipe: leiding buis
store: =vat buffer opslag voorraad zonneboiler
boiler: boiler
bottom: onder onderin onderkant =ond
middle: midden
top: boven bovenin bovenkant =bov
outside: buiten omgeving
air: lucht
radiation: instraling straling zonnestraling
plane: schuin hellend vlak hellende
horizontal: horizontaal horizontale horiz
global: globale globaal
wind: wind windmeter
rate: debiet volumestroom doorstroming doorstroom flow
speed: snelheid toerental
volume: volume liter liters
count: teller totaal totale cumulatief cumulatieve
meter: meter
pump: pomp
state: =aan relais stand status
pressure: druk
energy: energie opbrengst =wmz warmtemeter
heat: warmte thermisch
power: vermogen =verm
backup: naverwarming bijverwarming ketel element naverwarm cv-ketel
demand: vraag
water: water
mains: leidingwater koudwater toevoer
dhw: tapwater warmwater
tap: tapwater tappunt kraan
exchanger: wisselaar warmtewisselaar =tsa
secondary: secundair secundaire =sec
charge: laad laden
hours: uren draaiuren bedrijfsuren looptijd draaitijd urenteller
temp: temperatuur temp
sensor: voeler
plant: installatie systeem
foreign: kamer binnen ruimte radiator vloer verwarming batterij fout storing vocht spanning stroom
  gewenst alarm minimum verschil regen zwembad code
day: =dag dagelijks dagelijkse vandaag dagopbrengst dagmaximum
peak: maximum =piek hoogste
"""


def _read(text: str) -> dict[str, tuple[str, ...]]:
    lines = text.strip().replace("\n  ", " ").splitlines()
    parted = (line.partition(":") for line in lines)
    return {idea: tuple(words.split()) for idea, _, words in parted}


LEXICON: dict[str, dict[str, tuple[str, ...]]] = {
    "en": _read(_ENGLISH),
    "de": _read(_GERMAN),
    "fr": _read(_FRENCH),
    "es": _read(_SPANISH),
    "it": _read(_ITALIAN),
    "nl": _read(_DUTCH),
}

# Ideas that hold a second one: the word over a column needs no other.
IMPLIED: dict[str, tuple[str, ...]] = {
    "kaltwasser": ("cold", "water"),
    "koudwater": ("cold", "water"),
    "warmwasser": ("hot", "water"),
    "warmwater": ("hot", "water"),
    "tapwater": ("hot", "water"),
    "zonneboiler": ("solar",),
    "dakvoeler": ("sensor",),
    "dakvlak": ("plane",),
    "contacalorie": ("meter",),
    "contalitri": ("volume",),
    "globalstr": ("global",),
    "dagopbrengst": ("energy",),
    "dagmaximum": ("peak",),
    "calorias": ("heat",),
    "contaore": ("count",),
    "urenteller": ("count",),
    "ghi": ("radiation", "global"),
    "poa": ("radiation",),
    "wmz": ("count",),
    "warmtemeter": ("count",),
    "waermemenge": ("heat",),
    "warmemenge": ("heat",),
    "flowmeter": ("meter",),
    "hotwater": ("hot", "water"),
    "eaufroide": ("cold", "water"),
    "aguafria": ("cold", "water"),
    "=tsu": ("bottom",),
    "=tso": ("top",),
    "=tsm": ("middle",),
    "=af": ("cold", "water"),
    "=ef": ("cold", "water"),
    "=kw": ("cold", "water"),
    "=ww": ("hot", "water"),
    "=ecs": ("hot", "water"),
    "=acs": ("hot", "water"),
}
