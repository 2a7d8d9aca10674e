// Injections on the drawing: a needle's tick at the place, and a thin line from it to its number in the margin, which is the number of its row.

import { quantityText } from "../decimal";
import { at, type Point } from "./curve";

export interface FaceMark {
  readonly id: string;
  /** The number of its row. */
  readonly number: number;
  readonly at: Point;
  /** Units as a decimal; empty while none are planned. */
  readonly units: string;
  readonly state: "planned" | "given" | "skipped";
}

export interface Leaders {
  readonly left: number;
  readonly right: number;
  readonly gutter: number;
  readonly top: number;
  readonly bottom: number;
  /** True when there is room for the dose beside the number. */
  readonly wide: boolean;
}

interface TickProps {
  readonly marks: readonly FaceMark[];
  readonly faint?: boolean;
  readonly selected?: string | undefined;
  readonly pixel: number;
  readonly leaders?: Leaders;
}

/** MarkTicks draws the injections; pixel is one CSS pixel in millimetres. */
export function MarkTicks({ marks, faint, selected, pixel, leaders }: TickProps) {
  return (
    <g class={faint ? "ticks last" : "ticks"}>
      {leaders && [-1, 1].map((side) => <Margin marks={onSide(marks, side)} side={side} selected={selected} pixel={pixel} leaders={leaders} />)}
      {marks.map((m) => <Tick mark={m} selected={m.id === selected} pixel={pixel} />)}
    </g>
  );
}

const onSide = (marks: readonly FaceMark[], side: number) => marks.filter((m) => (side < 0 ? m.at[0] < 0 : m.at[0] >= 0));

/** Tick is a needle: its point in the place, its shaft away from the midline. Given is filled, planned is open, skipped is crossed. */
function Tick({ mark, selected, pixel }: { mark: FaceMark; selected: boolean; pixel: number }) {
  const [x, y] = mark.at;
  const out = x < 0 ? -1 : 1;
  const r = 4.5 * pixel, shaft = 13 * pixel;
  return (
    <g class={`tick ${mark.state}${selected ? " selected" : ""}`}>
      {selected && <circle class="ring" cx={x} cy={-y} r={13 * pixel} />}
      <path class="shaft" d={`M${at([x, y])}L${at([x + out * shaft, y + shaft])}`} />
      <circle class="point" cx={x} cy={-y} r={r} />
      {mark.state === "skipped" && <path class="cross" d={`M${at([x - 2 * r, y - 2 * r])}L${at([x + 2 * r, y + 2 * r])}`} />}
    </g>
  );
}

/** Margin is the numbers of one side, from above, each as high as its tick where there is room. */
function Margin({ marks, side, selected, pixel, leaders }: { marks: readonly FaceMark[]; side: number; selected: string | undefined; pixel: number; leaders: Leaders }) {
  const step = 34 * pixel, r = 15 * pixel;
  const edge = side < 0 ? leaders.left - leaders.gutter : leaders.right + leaders.gutter;
  const x = edge - side * (r + 3 * pixel);
  const text = edge - side * (2 * r + 10 * pixel);
  const inner = leaders.wide ? (side < 0 ? leaders.left : leaders.right) - side * 1 : edge - side * (2 * r + 6 * pixel);
  const sorted = [...marks].sort((a, b) => b.at[1] - a.at[1]);
  const heights = spread(sorted.map((m) => m.at[1]), step, leaders.bottom + r, leaders.top - 3 * r);
  return (
    <g class="margin">
      {sorted.map((m, i) => {
        const y = heights[i]!;
        return (
          <g class={m.id === selected ? "selected" : undefined}>
            <path class="leader" d={`M${at(m.at)}L${at([inner, y])}`} />
            <circle class="badge" cx={x} cy={-y} r={r} />
            <text x={x} y={-y + 6.5 * pixel} font-size={19 * pixel} text-anchor="middle">{m.number}</text>
            {leaders.wide && m.units && <text class="dose" x={text} y={-y + 8.5 * pixel} font-size={24 * pixel} text-anchor={side < 0 ? "start" : "end"}>{quantityText(m.units, "units")}</text>}
          </g>
        );
      })}
    </g>
  );
}

/** spread keeps heights, given from above, at least a step apart and between the bounds, moving each as little as is simple. */
export function spread(heights: readonly number[], step: number, bottom: number, top: number): number[] {
  const out: number[] = [];
  let below = top;
  for (const h of heights) {
    const y = Math.min(h, below);
    out.push(y);
    below = y - step;
  }
  let above = bottom;
  for (let i = out.length - 1; i >= 0; i--) {
    if (out[i]! < above) out[i] = above;
    above = out[i]! + step;
  }
  return out;
}
