// Smooth lines through points. All of the face is lists of points in millimetres of the model, y up; they are moved to the patient, mirrored, and
// only then joined, so that a line always follows what was measured.

export type Point = readonly [x: number, y: number];

const round = (n: number) => Math.round(n * 100) / 100;

/** at writes a point for a path; SVG's y is down. */
export const at = ([x, y]: Point): string => `${round(x)} ${round(-y)}`;

/** mirror carries points to the other side. */
export const mirror = (points: readonly Point[]): Point[] => points.map(([x, y]) => [-x, y] as const);

/** curve is a path through the points, a Catmull-Rom spline written as cubic pieces. */
export function curve(points: readonly Point[], closed = false): string {
  const n = points.length;
  const pick = (i: number): Point => points[closed ? (i + n) % n : Math.min(Math.max(i, 0), n - 1)]!;
  let d = `M${at(pick(0))}`;
  for (let i = 0; i < (closed ? n : n - 1); i++) {
    const [a, b, c, e] = [pick(i - 1), pick(i), pick(i + 1), pick(i + 2)];
    const first: Point = [b[0] + (c[0] - a[0]) / 6, b[1] + (c[1] - a[1]) / 6];
    const second: Point = [c[0] - (e[0] - b[0]) / 6, c[1] - (e[1] - b[1]) / 6];
    d += `C${at(first)} ${at(second)} ${at(c)}`;
  }
  return closed ? `${d}Z` : d;
}

/** both is a smooth line over the midline: the half's mirror, and the half from the midline outward. */
export const both = (half: readonly Point[]): Point[] => {
  const over = half[0]![0] === 0 ? half.slice(1) : half;
  return [...mirror(over).reverse(), ...half];
};

/** between is the point at t of the way from a to b. */
export const between = (a: Point, b: Point, t: number): Point => [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t];

/** ellipse is points on an ellipse. */
export function ellipse([x, y]: Point, rx: number, ry: number, count = 16): Point[] {
  return Array.from({ length: count }, (_, i) => {
    const turn = (2 * Math.PI * i) / count;
    return [x + rx * Math.cos(turn), y + ry * Math.sin(turn)] as const;
  });
}
