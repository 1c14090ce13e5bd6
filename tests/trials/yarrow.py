"""An invented formula and what plans vary of it."""

BASE = """
name = "Yarrow rinse (invented)"
version = "1"
product = "rinse-off hair"
[[phase]]
name = "A"
kind = "water"
line = [
  {material = "water-deionised", qs = true},
  {material = "glycerin", pct = "3.00"},
  {material = "hydroxyethylcellulose", pct = "0.20"},
  {material = "citric-acid", pct = "0.05"},
]
[[phase]]
name = "B"
kind = "oil"
line = [
  {material = "behentrimonium-chloride-80", pct = "1.88"},
  {material = "cetearyl-alcohol", pct = "5.00"},
  {material = "isopropyl-palmitate", pct = "2.00"},
]
[[phase]]
name = "C"
kind = "cool-down"
line = [
  {material = "cetrimonium-chloride-29", pct = "1.72"},
  {material = "phenoxyethanol", pct = "0.80"},
  {material = "ethylhexylglycerin", pct = "0.10"},
  {material = "parfum", pct = "0.40"},
]
[[step]]
do = "heat"
phase = "A"
temps = "78 degC"
minutes = 20
[[step]]
do = "heat"
phase = "B"
temps = "82 degC"
minutes = 20
[[step]]
do = "combine"
temps = { A = "78 degC", B = "82 degC", after = "77 degC" }
rpm = 6500
minutes = 7
[[step]]
do = "cool"
temps = "40 degC"
rpm = 200
minutes = 45
"""
CTAC, BTAC, ALCOHOL = "cetrimonium-chloride-29", "behentrimonium-chloride-80", "cetearyl-alcohol"
SERIES = ["cetearyl-alcohol: 3.00, 4.00, 5.00, 6.00, 7.00 %"]
MAKING = ["combine rpm: 4000 to 9000 rpm", "combine minutes: 3 to 12 min"]
