#!/usr/bin/env bash
# Makes calibration/sample: the sample pieces' colours, taught by the released program from two sample photos as a
# user would teach them, and the two lights. Run from anywhere after a change to how colours are read:
#     bash calibration/make.sh [FOLDER]
# Without FOLDER it writes calibration/sample. CUPTALLY names another program than the one that cargo builds.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

out=${1:-calibration/sample}
scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT

# The photos and the light that each shows; the pieces lie in the same order on both.
lessons=(teach-daylight-24:daylight teach-warm-led-24:evening-lamp)
names=buoy-red,charcoal,clear-sky,cream,deep-blue,driftwood,dune,eelgrass,fog,gull,heather,hull-red
names+=,kelp,lagoon,lantern,lichen,mist,mooring-blue,oilskin,rust,shell-pink,slate,tar,wet-sand

cuptally() {
    if [[ -n ${CUPTALLY:-} ]]; then
        "$CUPTALLY" --home "$scratch" "$@"
    else
        cargo run --release --quiet -- --home "$scratch" "$@"
    fi
}

# 3: done, but something needs a look, such as a note on the photo's light.
looked() {
    "$@" >/dev/null || (($? == 3))
}

for lesson in "${lessons[@]}"; do
    photo=sample-photos/tune/${lesson%%:*}.jpg light=${lesson#*:}
    looked cuptally calibrate "$photo" --light "$light"
    looked cuptally teach "$photo" --names "$names" --light "$light"
done

mkdir -p "$out/lights"
cp "$scratch/calibration/swatches.json" "$out/"
cp "$scratch"/calibration/lights/*.json "$out/lights/"
