// Places in words, and with what they are scaled.

import type { Anatomy } from "../../../core";
import type { Place } from "../../../messages";
import { t } from "../../../i18n";
import { mmOf, quantityText } from "../../../ui/decimal";

const size = (micrometers: number) => quantityText(mmOf(Math.abs(micrometers)), "mm");

/** acrossText is how far left or right of its origin a place is, from the patient's side. */
export function acrossText(place: Place): string {
  const x = place.x_micrometers ?? 0;
  return x === 0 ? t("place.on_origin_x") : t(x < 0 ? "place.to_right" : "place.to_left", { distance: size(x) });
}

/** upText is how far above or below its origin a place is. */
export function upText(place: Place): string {
  const y = place.y_micrometers ?? 0;
  return y === 0 ? t("place.on_origin_y") : t(y < 0 ? "place.below" : "place.above", { distance: size(y) });
}

/** placeText is a place in one line. */
export const placeText = (place: Place | undefined): string => (place ? `${acrossText(place)}, ${upText(place)}` : t("place.none"));

/** originText says what a frame's distances are from. */
export const originText = (anatomy: Anatomy | undefined, frame: string | undefined): string => anatomy?.frames.find((f) => f.code === frame)?.origin ?? "";

/** scaled is the place with the first distance of its frame that was measured on the patient; without one it stays on the frame's default. */
export function scaled(place: Place, anatomy: Anatomy | undefined, measures: Readonly<Record<string, number>>): Place {
  const frame = anatomy?.frames.find((f) => f.code === place.frame);
  const measure = frame?.measures.find((m) => measures[m.code])?.code;
  return { ...place, ...(measure ? { scale: { measure, measured_micrometers: measures[measure]! } } : {}) };
}
