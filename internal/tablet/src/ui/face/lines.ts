// The lines of the face: a front view of our own, over the proportions of the canonical face mesh. Each line is a half face (the patient's left) or
// runs over the midline. The lower face has the most lines, since that is where millimetres count.

import { both, type Point } from "./curve";

/** Weight is how a line is drawn: bold for what bounds, plain for what is seen at once, faint for folds and hints, fill for a shape. */
export type Weight = "bold" | "plain" | "faint" | "fill";

export interface Line {
  readonly weight: Weight;
  readonly points: readonly Point[];
  readonly closed?: boolean;
  /** True for a line that stands once, over the midline; the others are drawn on both sides. */
  readonly once?: boolean;
}

const line = (weight: Weight, ...points: Point[]): Line => ({ weight, points });
const over = (weight: Weight, ...half: Point[]): Line => ({ weight, points: both(half), once: true });
const shape = (weight: Weight, ...points: Point[]): Line => ({ weight, points, closed: true });

export const upperLip: readonly Point[] = [[0, -34.06], [3, -33.2], [7.1, -33.3], [14.3, -35.0], [19.1, -38.0], [22.9, -41.2], [24.56, -43.43]];
export const lowerLip: readonly Point[] = [[0, -53.65], [7, -52.9], [13.3, -51.1], [18.4, -48.3], [22, -45.6], [24.56, -43.43]];

const head: Line[] = [
  over("bold", [0, -94.03], [10, -93.3], [20, -90.6], [30, -86.2], [41, -79.4], [51, -71], [59.4, -61.5], [65.6, -48], [69.8, -31], [72.6, -12],
    [74, 8], [74.4, 28], [73, 46]),
  line("plain", [74.2, 29], [77.5, 33.5], [81.6, 32], [83, 23.6], [81.4, 11], [78.6, -1], [75.8, -8.4], [73.2, -8.4]),
  line("faint", [76.4, 27], [79.6, 27.5], [80, 20], [77.6, 9], [75.6, 2]),
  // The band that keeps the hair away during treatment.
  over("plain", [0, 86], [20, 84.6], [40, 79.4], [56, 71.4], [67, 61], [72.9, 48]),
  over("plain", [0, 101], [22, 99.4], [44, 93], [61, 82.5], [72, 68], [77.4, 50], [78, 37]),
  over("faint", [0, 117], [24, 115.4], [48, 107.6], [66, 93.5], [76, 75], [80, 56]),
  line("plain", [53, -69.5], [52, -82], [51.5, -97], [53, -110], [57, -121]),
  line("faint", [27, -92], [24, -104], [17, -121]),
];

const eye: Line[] = [
  line("bold", [17.6, 25.0], [18.6, 25.9], [21.4, 28.2], [26, 30.3], [32, 31.1], [38, 30.0], [42.4, 28.1], [45.8, 26.3]),
  line("plain", [18.6, 25.85], [22, 24.1], [27, 22.9], [32, 22.5], [37.6, 23.4], [42, 25.2], [44.46, 26.64]),
  line("faint", [19.4, 30.6], [24.6, 34.4], [31.4, 36.2], [38.4, 35.2], [44.4, 31.8], [48, 28]),
  line("faint", [21.6, 20.2], [27.6, 17.6], [34, 17], [40.4, 18.8]),
];

/** eyeWhite bounds iris and pupil. */
export const eyeWhite: readonly Point[] = [[18.6, 25.85], [21.4, 28.2], [26, 30.3], [32, 31.1], [38, 30.0], [42.4, 28.1], [44.46, 26.64], [42, 25.2],
  [37.6, 23.4], [32, 22.5], [27, 22.9], [22, 24.1]];

/** iris is where the iris stands on the left; its radius is 5.8 mm. */
export const iris: Point = [31.6, 27.6];

const brow: Line = shape("fill", [12.4, 42.4], [13.4, 46.6], [22, 49.4], [33, 51.6], [43, 51.2], [51, 47.6], [57.4, 41.8], [50.4, 44.8], [42.4, 47.2], [32.4, 47.2],
  [22, 44.8]);

const nose: Line[] = [
  line("faint", [10.2, 37.6], [7.6, 30], [6.6, 20], [7.6, 9], [9.8, 0]),
  line("plain", [13.6, -2.4], [16.8, -6], [17.9, -10.6], [16.8, -15.2], [13.4, -18.2], [11.2, -17.6]),
  line("plain", [11.6, -17.2], [8.6, -15.8], [5.6, -17], [3.6, -19.6], [0, -20.89]),
  line("faint", [4.2, -6.4], [6.6, -9.6], [5.4, -13.4]),
];

const mouth: Line[] = [
  over("plain", ...upperLip),
  over("plain", ...lowerLip),
  over("bold", [0, -43.2], [2.6, -42.8], [7, -42.2], [13, -42.6], [19, -43.1], [24.56, -43.2]),
  line("plain", [24.2, -43.4], [25.8, -43.9], [26.8, -45]),
  line("faint", [3.2, -22.8], [3.6, -27.6], [4.6, -32]),
  line("faint", [19.8, -13.2], [25.2, -21], [29.6, -29.4], [32.4, -37.6]),
  // The line from the mouth corner to the jaw.
  line("faint", [28, -47.4], [30.4, -54], [31.6, -61.6], [31, -69.4]),
  over("faint", [0, -60.6], [6, -61], [12, -62.6], [16.4, -65.4]),
  line("faint", [18.6, -70.6], [20, -77.6], [17.4, -85]),
  over("faint", [0, -88.2], [4, -88.6], [8, -88]),
];

/** lines are all lines of the face. */
export const lines: readonly Line[] = [...head, brow, ...eye, ...nose, ...mouth];
