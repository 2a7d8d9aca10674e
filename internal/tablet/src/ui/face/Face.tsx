// The face: a line drawing seen from the front, so that the patient's right is on the left of the picture, as she sits before the injector. It shows
// what the table beside it says; whoever cannot see or touch it has everything in the table.

import { useLayoutEffect, useRef, useState } from "preact/hooks";
import type { Side } from "../../messages";
import { t, word } from "../../i18n";
import { curve, mirror, type Point } from "./curve";
import { fit, type Measures } from "./frame";
import { EdgeLines, type FaceEdge } from "./Edges";
import { eyeWhite, iris, lines } from "./lines";
import { MarkTicks, type FaceMark } from "./Marks";
import { muscles, type Part } from "./muscles";

export interface FaceProps {
  readonly measures: Measures;
  readonly marks: readonly FaceMark[];
  /** Where it was last time, drawn faint. */
  readonly last?: readonly FaceMark[];
  readonly edges?: readonly FaceEdge[];
  /** Muscles whose fibres are drawn; with all, the others are drawn faint. Absent draws no muscle. */
  readonly muscles?: { readonly strong: readonly string[]; readonly all: boolean };
  readonly part: Part;
  readonly selected?: string | undefined;
  /** What was touched: a point of the drawing in millimetres, and the mark that stands within a finger's width of it, if one does. */
  readonly onTouch?: (point: Point, mark: FaceMark | undefined) => void;
  /** A sentence for those who do not see it. */
  readonly label: string;
}

/** Window is what is seen of the face: left, bottom, width, height in millimetres. */
interface Window { readonly left: number; readonly bottom: number; readonly width: number; readonly height: number }

const windows: Record<Part, Window> = {
  whole: { left: -84, bottom: -122, width: 168, height: 242 },
  upper: { left: -80, bottom: -4, width: 160, height: 108 },
  lower: { left: -66, bottom: -103, width: 132, height: 92 },
};

/** useWidth is an element's width in CSS pixels. */
function useWidth() {
  const ref = useRef<SVGSVGElement>(null);
  const [width, setWidth] = useState(640);
  useLayoutEffect(() => {
    const element = ref.current;
    if (!element) return;
    const seen = new ResizeObserver(() => setWidth(element.clientWidth || 640));
    seen.observe(element);
    return () => seen.disconnect();
  }, []);
  return { ref, width };
}

/** finger is half the width of a gloved fingertip, in CSS pixels. */
const finger = 32;

/** Face draws the face. */
export function Face(props: FaceProps) {
  const { ref, width } = useWidth();
  const window = windows[props.part];
  const gutter = window.width * (width < 520 ? 0.14 : 0.3);
  const full = window.width + 2 * gutter;
  const pixel = full / width;
  const fitted = fit(props.measures);
  const touch = (event: MouseEvent) => {
    const matrix = ref.current?.getScreenCTM();
    if (!matrix || !props.onTouch) return;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
    props.onTouch([point.x, -point.y], nearest(props.marks, [point.x, -point.y], finger * pixel));
  };
  return (
    <figure class="face">
      <svg ref={ref} viewBox={`${window.left - gutter} ${-window.bottom - window.height} ${full} ${window.height}`} role="img" aria-label={props.label} onClick={touch}>
        <FaceLines fitted={fitted} />
        {props.muscles && <MuscleLines fitted={fitted} {...props.muscles} pixel={pixel} window={window} />}
        {props.edges && <EdgeLines edges={props.edges} measures={props.measures} pixel={pixel} />}
        <Sides window={window} gutter={gutter} pixel={pixel} />
        {props.last && <MarkTicks marks={props.last} faint pixel={pixel} />}
        <MarkTicks marks={props.marks} selected={props.selected} pixel={pixel}
          leaders={{ left: window.left, right: window.left + window.width, gutter, top: window.bottom + window.height, bottom: window.bottom, wide: width >= 520 }} />
      </svg>
    </figure>
  );
}

function nearest(marks: readonly FaceMark[], [x, y]: Point, within: number): FaceMark | undefined {
  const far = (m: FaceMark) => Math.hypot(m.at[0] - x, m.at[1] - y);
  return marks.filter((m) => far(m) <= within).sort((a, b) => far(a) - far(b))[0];
}

function FaceLines({ fitted }: { fitted: (p: Point) => Point }) {
  const path = (points: readonly Point[], closed?: boolean) => curve(points.map(fitted), closed);
  return (
    <g class="face-lines">
      {lines.map((l) => (l.once
        ? <path class={l.weight} d={path(l.points, l.closed)} />
        : <path class={l.weight} d={path(l.points, l.closed) + path(mirror(l.points), l.closed)} />))}
      <Eyes fitted={fitted} />
    </g>
  );
}

function Eyes({ fitted }: { fitted: (p: Point) => Point }) {
  return (
    <>
      {[1, -1].map((side) => {
        const turn = (p: Point): Point => fitted([p[0] * side, p[1]]);
        const [x, y] = turn(iris);
        const clip = `eye-${side > 0 ? "left" : "right"}`;
        return (
          <g>
            <clipPath id={clip}><path d={curve(eyeWhite.map(turn), true)} /></clipPath>
            <g clip-path={`url(#${clip})`}>
              <circle class="iris" cx={x} cy={-y} r={5.8} />
              <circle class="pupil" cx={x} cy={-y} r={1.9} />
            </g>
          </g>
        );
      })}
    </>
  );
}

interface MuscleLinesProps { fitted: (p: Point) => Point; strong: readonly string[]; all: boolean; pixel: number; window: Window }

function MuscleLines({ fitted, strong, all, pixel, window }: MuscleLinesProps) {
  const path = (points: readonly Point[], closed?: boolean) => curve(points.map(fitted), closed);
  const seen = ([x, y]: Point) => x < window.left + window.width && y > window.bottom + 4 && y < window.bottom + window.height - 4;
  return (
    <g class="fibres">
      {muscles.filter((m) => all || strong.includes(m.muscle)).map((m) => (
        <path class={strong.includes(m.muscle) ? "strong" : "faint"}
          d={m.lines.map((l) => path(l, m.closed) + (m.once ? "" : path(mirror(l), m.closed))).join("")} />
      ))}
      {muscles.filter((m) => strong.includes(m.muscle) && seen(m.name)).map((m) => (
        <text x={fitted(m.name)[0]} y={-fitted(m.name)[1]} font-size={15 * pixel} text-anchor="middle">{word("muscle", m.muscle)}</text>
      ))}
    </g>
  );
}

/** Sides writes the patient's own right and left on the drawing. */
function Sides({ window, gutter, pixel }: { window: Window; gutter: number; pixel: number }) {
  const size = 20 * pixel;
  const top = -window.bottom - window.height + size * 1.1;
  const write = (side: Side, x: number, anchor: "start" | "end") => (
    <text class="side" x={x} y={top} font-size={size} text-anchor={anchor}>{t(side === "SIDE_RIGHT" ? "side.her_right" : "side.her_left")}</text>
  );
  return (
    <g>
      {write("SIDE_RIGHT", window.left - gutter + 4 * pixel, "start")}
      {write("SIDE_LEFT", window.left + window.width + gutter - 4 * pixel, "end")}
    </g>
  );
}
