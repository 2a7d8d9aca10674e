// The edges of the zones, as the core says where they are. A caution's edge is a heavy dashed line, a note's a light one; short strokes point to where
// the zone asks not to go, and the distance is written on it.

import type { Drawing } from "../../core";
import type { Side } from "../../messages";
import { millimetres } from "../decimal";
import { at, curve, type Point } from "./curve";
import { origin, type Measures } from "./frame";
import { reach } from "./muscles";

export interface FaceEdge {
  readonly frame: string;
  readonly side: Side;
  readonly muscle: string;
  readonly edge: Drawing["edges"][number];
  /** Toward where the zone asks not to go; absent while the core was not asked. */
  readonly out?: Point | undefined;
}

/** EdgeLines draws the edges. */
export function EdgeLines({ edges, measures, pixel }: { edges: readonly FaceEdge[]; measures: Measures; pixel: number }) {
  return <g class="edges">{edges.map((e) => <EdgeLine edge={e} measures={measures} pixel={pixel} />)}</g>;
}

function EdgeLine({ edge, measures, pixel }: { edge: FaceEdge; measures: Measures; pixel: number }) {
  const points = pointsOf(edge, measures);
  if (points.length < 2) return null;
  return (
    <g class={edge.edge.level === "caution" ? "edge caution" : "edge note"}>
      <path class="line" d={curve(points)} />
      {edge.out && <path class="strokes" d={strokes(points, edge.out, 7 * pixel, 11 * pixel)} />}
      {edge.edge.level === "caution" && <EdgeName edge={edge} points={points} pixel={pixel} />}
    </g>
  );
}

/** EdgeName writes the distance along an upright edge, and at the outer end of any other. */
function EdgeName({ edge, points, pixel }: { edge: FaceEdge; points: readonly Point[]; pixel: number }) {
  const text = millimetres(edge.edge.bound_mm);
  const size = 15 * pixel;
  const [x, y] = edge.edge.kind === "upright" ? points[0]! : points[points.length - 1]!;
  if (edge.edge.kind === "upright") return <text transform={`translate(${x - 2 * pixel} ${-y}) rotate(-90)`} font-size={size} text-anchor="end">{text}</text>;
  return <text x={x} y={-y - 4 * pixel} font-size={size} text-anchor={x < 0 ? "end" : "start"}>{text}</text>;
}

const number = (mm: string) => Number(mm);

/** pointsOf is an edge in the drawing's millimetres, cut to the reach of its muscle; a circle is not closed but lies where the muscle does. */
export function pointsOf({ frame, side, muscle, edge }: FaceEdge, measures: Measures): Point[] {
  const [ox, oy] = origin(frame, side, measures);
  const sign = side === "SIDE_RIGHT" ? -1 : 1;
  const [inner, outer, bottom, top] = reach[muscle] ?? [0, 70, -110, 90];
  const points = edge.points.map((p) => [ox + number(p.x_mm), oy + number(p.y_mm)] as const);
  const first = points[0];
  if (!first) return [];
  if (edge.kind === "level") return [[sign * inner, first[1]], [sign * outer, first[1]]];
  if (edge.kind === "upright") return Math.abs(first[0]) > outer ? [] : [[first[0], top], [first[0], bottom]];
  return points.filter(([x, y]) => Math.abs(x) <= outer + 12 && y >= bottom - 6 && y <= top + 6);
}

/** strokes are short lines from the edge toward out, every so often. */
function strokes(points: readonly Point[], out: Point, long: number, every: number): string {
  const size = Math.hypot(out[0], out[1]) || 1;
  const by: Point = [(out[0] / size) * long, (out[1] / size) * long];
  let d = "";
  for (let i = 1; i < points.length; i++) {
    const [a, b] = [points[i - 1]!, points[i]!];
    const length = Math.hypot(b[0] - a[0], b[1] - a[1]);
    for (let s = every / 2; s < length; s += every) {
      const p: Point = [a[0] + ((b[0] - a[0]) * s) / length, a[1] + ((b[1] - a[1]) * s) / length];
      d += `M${at(p)}L${at([p[0] + by[0], p[1] + by[1]])}`;
    }
  }
  return d;
}
