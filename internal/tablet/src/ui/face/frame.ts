// Where the frames of internal/anatomy stand in the drawing, and how the drawing follows what was measured on the patient. This places lines on a
// picture and decides nothing: distances, zones and findings come from the core, in micrometres of the frame.
//
// Figures are vertices of the canonical face mesh (npm @mediapipe/face_mesh 0.4.1657299874, Apache-2.0; docs/anatomy.md), in millimetres with the
// origin of the mesh. That its unit is the centimetre is from memory.

import type { Place, Side } from "../../messages";
import type { Point } from "./curve";

/** Measures are distances measured on the patient, in micrometres, by the anatomy's names. */
export type Measures = Readonly<Record<string, number>>;

const defaults: Measures = {
  forehead_height: 60000, interbrow_width: 24418, eye_width: 25895, nose_height: 53600, nose_corner_width: 28112,
  masseter_width: 35000, corner_height: 18810, mouth_width: 49124, lip_height: 19587, chin_height: 40383, jaw_width: 118810,
};

const cornerY = -43.426;
const lowerLipY = -53.651;
const chinY = -94.034;
const subnasaleY = -20.89;
const canthus: Point = [44.459, 26.64];
const browY = 41.422;
const rimY = 45.2;
const gonion: Point = [59.405, -62.236];

/** ratio is measured over the model's figure; 1 where nobody measured. */
function ratio(measures: Measures, name: string): number {
  const measured = measures[name];
  return measured ? measured / defaults[name]! : 1;
}

const fade = (value: number, full: number, none: number) => Math.min(1, Math.max(0, (none - value) / (none - full)));

/** fit moves a point of the model to the patient: the mouth is widened about the midline and the lips about their line, the chin falls or rises with
    its height, eyes and brows move with their widths; what lies further away moves less, so that lines stay smooth. */
export function fit(measures: Measures): (point: Point) => Point {
  const mouth = ratio(measures, "mouth_width") - 1;
  const lip = ratio(measures, "lip_height") - 1;
  const chin = ratio(measures, "chin_height") - 1;
  const eye = ratio(measures, "eye_width") - 1;
  const brow = ratio(measures, "interbrow_width") - 1;
  const nose = ratio(measures, "nose_corner_width") - 1;
  const jaw = ratio(measures, "jaw_width") - 1;
  return ([x, y]) => {
    const side = Math.sign(x), out = Math.abs(x);
    const nearMouth = fade(Math.abs(y - cornerY), 12, 26) * fade(out, 26, 52);
    const nearNose = fade(Math.abs(y + 12), 9, 18) * fade(out, 20, 34);
    const nearJaw = fade(Math.abs(y - gonion[1]), 12, 44) * fade(-out, -50, -30);
    const nearBrow = fade(Math.abs(y - 46), 7, 14) * fade(out, 26, 50);
    let ox = out * (1 + mouth * nearMouth + nose * nearNose + jaw * nearJaw + brow * nearBrow);
    if (Math.abs(y - 27) < 12 && out > 8 && out < 52) ox = canthus[0] + (ox - canthus[0]) * (1 + eye * fade(Math.abs(y - 27), 8, 12));
    let oy = y;
    if (y < lowerLipY) oy = lowerLipY + (y - lowerLipY) * (1 + chin * fade(out, 70, 110));
    const lips = fade(out, 26, 44);
    if (y < cornerY) oy += (Math.max(y, lowerLipY) - cornerY) * lip * lips;
    else if (y < subnasaleY) oy += (Math.min(y, -34) - cornerY) * lip * fade(y, -34, subnasaleY) * lips;
    return [side * ox, oy];
  };
}

/** origin is where a frame's origin stands in the drawing; orbit and cheek have one on each side. */
export function origin(frame: string, side: Side | undefined, measures: Measures): Point {
  const left = side === "SIDE_RIGHT" ? -1 : 1;
  const fitted = fit(measures);
  switch (frame) {
    case "mouth": return [0, cornerY];
    case "chin": case "neck": return fitted([0, chinY]);
    case "brow": return [0, browY];
    case "forehead": return [0, rimY];
    case "orbit": return [left * canthus[0], canthus[1]];
    case "nose": return [0, subnasaleY];
    case "cheek": return fitted([left * gonion[0], gonion[1]]);
    default: return [0, 0];
  }
}

/** drawn is where a place stands in the drawing. */
export function drawn(place: Place, side: Side | undefined, measures: Measures): Point {
  const [x, y] = origin(place.frame ?? "", side, measures);
  return [x + (place.x_micrometers ?? 0) / 1000, y + (place.y_micrometers ?? 0) / 1000];
}

/** placed is the place in a frame of a point touched in the drawing, to half a millimetre: a gloved finger is no ruler. */
export function placed([x, y]: Point, frame: string, side: Side | undefined, measures: Measures): Place {
  const [ox, oy] = origin(frame, side, measures);
  const half = (mm: number) => Math.round(mm * 2) * 500;
  return { frame, x_micrometers: half(x - ox), y_micrometers: half(y - oy) };
}
