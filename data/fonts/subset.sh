#!/bin/sh
# Makes DejaVuSans-subset.ttf from DejaVuSans.ttf 2.37; run in this folder with the font's path.
# Needs fonttools (4.68.0 made the file that is kept here): pip install fonttools
set -eu
pyftsubset "$1" --output-file=DejaVuSans-subset.ttf \
    --unicodes='U+0020-007E,U+00A0-017F,U+0386-03CE,U+0401-044F,U+0451-045F,U+2010-2015,U+2018-201E,U+2022,U+2026,U+2030,U+2032,U+2033,U+2070,U+2074-207B,U+2080-2089,U+20AC,U+2190-2193,U+2205,U+2212,U+221A,U+221E,U+2248,U+2260,U+2264,U+2265,U+2300' \
    --layout-features='' --no-hinting --notdef-outline --recommended-glyphs --name-IDs='*' \
    --drop-tables+=FFTM,GDEF,GPOS,GSUB,MATH,kern --no-recalc-timestamp
