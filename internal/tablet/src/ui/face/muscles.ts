// Muscles as a layer: fibres from origin to insertion, on the patient's left, drawn from general anatomy (from memory). They show where a muscle
// lies and which way it pulls; no distance is ever taken from them.

import { between, ellipse, type Point } from "./curve";

/** Fibres are the lines of a muscle, each a list of points. */
export interface Fibres {
  readonly muscle: string;
  readonly lines: readonly (readonly Point[])[];
  /** True for lines that are drawn once, over the midline. */
  readonly once?: boolean;
  readonly closed?: boolean;
  /** Where its name stands. */
  readonly name: Point;
}

/** fan is n fibres from the edge a to the edge b; bow bends them outward by so many millimetres. */
function fan(n: number, a: readonly [Point, Point], b: readonly [Point, Point], bow = 0): Point[][] {
  return Array.from({ length: n }, (_, i) => {
    const t = n === 1 ? 0.5 : i / (n - 1);
    const from = between(a[0], a[1], t), to = between(b[0], b[1], t);
    const middle = between(from, to, 0.5);
    return [from, [middle[0] + bow, middle[1]] as const, to];
  });
}

const muscle = (name: string, at: Point, lines: Point[][], more: Partial<Fibres> = {}): Fibres => ({ muscle: name, name: at, lines, ...more });

/** muscles are the fibres of the muscles, from above. */
export const muscles: readonly Fibres[] = [
  muscle("frontalis", [30, 74], fan(8, [[7, 52], [55, 51]], [[9, 84], [50, 74]], 1)),
  muscle("procerus", [0, 38], fan(4, [[-3, 26], [3, 26]], [[-8, 56], [8, 56]]), { once: true }),
  muscle("corrugator_supercilii", [26, 55], fan(3, [[7, 40], [8, 45]], [[33, 50], [38, 56]], -2)),
  muscle("depressor_supercilii", [13, 38], fan(3, [[8.5, 33], [11, 32]], [[13, 47], [18, 47.5]])),
  muscle("orbicularis_oculi", [54, 30], [[18.5, 11], [21.5, 14.5], [24.5, 18], [27.5, 21.5]].map(([rx, ry]) => ellipse([32, 26.5], rx!, ry!)), { closed: true }),
  muscle("nasalis", [12, 2], fan(4, [[2, 12], [2, 2]], [[16, -3], [17, -10]], 2)),
  muscle("depressor_septi_nasi", [6, -24], fan(2, [[1, -21], [2.4, -21]], [[2, -29], [5, -30]])),
  muscle("levator_labii_superioris_alaeque_nasi", [14, 10], fan(3, [[9, 30], [12, 29]], [[14, -20], [18, -24]], 1)),
  muscle("levator_labii_superioris", [24, -6], fan(5, [[17, 13], [36, 13]], [[9, -31], [17, -34]], -1)),
  muscle("zygomaticus_minor", [38, -12], fan(2, [[42, 5], [46, 3]], [[18, -34], [21, -37]])),
  muscle("zygomaticus_major", [46, -20], fan(3, [[52, 2], [58, -3]], [[25, -41], [27.5, -44]])),
  muscle("risorius", [48, -43], fan(4, [[58, -34], [57, -49]], [[27.5, -43], [27.5, -46.5]])),
  muscle("masseter", [58, -36], fan(7, [[68, -12], [50, -8]], [[63, -56], [45, -70]], -1)),
  muscle("orbicularis_oris", [0, -28], [[27, 12.5], [30, 16], [33, 19.5]].map(([rx, ry]) => ellipse([0, -43.5], rx!, ry!, 20)), { once: true, closed: true }),
  muscle("depressor_anguli_oris", [38, -66], fan(6, [[23, -86], [46, -73]], [[25, -45.5], [28.5, -46.5]], 2)),
  muscle("depressor_labii_inferioris", [18, -70], fan(5, [[14, -85], [28, -82]], [[5, -55], [18, -50.5]], 1)),
  muscle("mentalis", [9, -78], fan(5, [[3, -62], [7, -62.5]], [[3, -86], [16, -84]], 1)),
  muscle("platysma", [40, -100], fan(8, [[24, -89], [58, -66]], [[16, -120], [52, -118]], 1)),
];

/** Part is where the drawing looks. */
export type Part = "whole" | "upper" | "lower";

/** reach is the box, left to right and bottom to top, in which a muscle's zone edges are drawn: an edge without ends is cut there. */
export const reach: Readonly<Record<string, readonly [number, number, number, number]>> = {
  corrugator_supercilii: [0, 62, 34, 70], frontalis: [0, 70, 40, 92], orbicularis_oculi: [14, 74, 4, 52],
  depressor_anguli_oris: [22, 58, -90, -40], mentalis: [0, 22, -92, -58], orbicularis_oris: [0, 30, -58, -21],
  masseter: [36, 74, -76, -4], platysma: [0, 62, -122, -64], depressor_labii_inferioris: [2, 32, -88, -50],
};
