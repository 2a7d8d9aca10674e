// A syringe to scale, with every graduation: the needle is on the left, zero is where the needle begins, and the plunger's front edge stands at the mark.
// The lens shows the stretch that counts now so large that single graduations can be counted at arm's length.
//
// Marks come from the core as decimals. They become numbers here only to find their place in the picture.

import { t } from "../../i18n";
import { quantityText } from "../decimal";

export interface SyringeProps {
  /** The nominal capacity, in millilitres. */
  readonly capacityMl: string;
  /** The smallest step that is read on it, in millilitres. */
  readonly graduationMl: string;
  /** True where the scale counts hundredths of a millilitre. */
  readonly insulinScale: boolean;
  /** Where the plunger stands, in millilitres. */
  readonly markMl: string;
  /** Where it must stand next, in millilitres; absent when nothing is next. */
  readonly nextMl?: string | undefined;
}

/** Span is a stretch of the scale in graduations, and how far apart they are drawn. */
interface Span { readonly from: number; readonly until: number; readonly pitch: number }

const height = 150, top = 24, wall = 76;

/** markText is a mark as it is read off: "0.13 mL", or "mark 13 (0.13 mL)" on an insulin scale, and never as units. */
export function markText(ml: string, insulinScale: boolean): string {
  const volume = quantityText(ml, "mL");
  return insulinScale ? t("syringe.insulin_mark", { mark: String(Math.round(Number(ml) * 1000) / 10), volume }) : volume;
}

/** Syringe draws the whole syringe, and under it the lens. */
export function Syringe(props: SyringeProps) {
  const graduation = Number(props.graduationMl);
  const steps = Math.round(Number(props.capacityMl) / graduation);
  const at = (ml: string) => Number(ml) / graduation;
  const label = props.nextMl === undefined
    ? t("syringe.stands", { mark: markText(props.markMl, props.insulinScale) })
    : t("syringe.stands_next", { mark: markText(props.markMl, props.insulinScale), next: markText(props.nextMl, props.insulinScale) });
  const whole = { from: 0, until: steps, pitch: 1000 / steps };
  return (
    <figure class="syringe">
      <Barrel props={props} span={whole} at={at} label={label} ends />
      <Barrel props={props} span={lens(at(props.markMl), props.nextMl === undefined ? undefined : at(props.nextMl), steps)} at={at} label="" />
    </figure>
  );
}

/** lens is the stretch from somewhat below where the plunger must stand to somewhat above where it stands: at least 20 graduations, at most 40. */
function lens(mark: number, next: number | undefined, steps: number): Span {
  const low = next ?? mark;
  const count = Math.min(steps, Math.max(20, Math.min(40, Math.ceil(mark - low) + 8)));
  const from = Math.max(0, Math.min(steps - count, Math.floor(low) - 4));
  return { from, until: from + count, pitch: 1000 / count };
}

function Barrel({ props, span, at, label, ends }: { props: SyringeProps; span: Span; at: (ml: string) => number; label: string; ends?: boolean }) {
  const left = ends ? 130 : 40, right = ends ? 70 : 40;
  const x = (step: number) => left + (Math.min(Math.max(step, span.from - 2), span.until + 2) - span.from) * span.pitch;
  const mark = at(props.markMl);
  const front = x(mark), end = left + 1000;
  return (
    <svg class={ends ? "whole" : "lens"} viewBox={`0 0 ${left + 1000 + right} ${height}`} role={label ? "img" : undefined} aria-label={label || undefined} aria-hidden={label ? undefined : true}>
      {ends && <path class="needle" d={`M4 ${top + wall / 2}H80M80 ${top + 26}H112V${top + 8}H130V${top + wall - 8}H112V${top + wall - 26}H80Z`} />}
      <rect class="liquid" x={left - (ends ? 0 : 40)} y={top} width={Math.max(0, front - left + (ends ? 0 : 40))} height={wall} />
      {props.nextMl !== undefined && <Next x={x(at(props.nextMl))} front={front} />}
      <path class="plunger" d={`M${front} ${top + 3}H${Math.min(front + 34, end + right)}V${top + wall - 3}H${front}Z`} />
      {front + 34 < end + right && <path class="rod" d={`M${front + 34} ${top + 28}H${end + right}V${top + wall - 28}H${front + 34}Z`} />}
      <path class="glass" d={`M${ends ? left : 0} ${top}H${end + (ends ? 0 : right)}M${ends ? left : 0} ${top + wall}H${end + (ends ? 0 : right)}`} />
      {ends && <path class="glass" d={`M${left} ${top}V${top + wall}M${end} ${top - 16}V${top + wall + 16}`} />}
      <Scale span={span} x={x} insulin={props.insulinScale} graduation={props.graduationMl} lens={!ends} />
    </svg>
  );
}

/** Next is where the plunger must stand: a dashed edge, and an arrow on the way. */
function Next({ x, front }: { x: number; front: number }) {
  const middle = top + wall / 2;
  const long = front - x > 40;
  return (
    <g class="next">
      <path d={`M${x} ${top - 20}V${top + wall + 4}`} />
      {long && <path class="way" d={`M${front - 8} ${middle}H${x + 10}M${x + 26} ${middle - 12}L${x + 8} ${middle}L${x + 26} ${middle + 12}`} />}
    </g>
  );
}

interface ScaleProps { readonly span: Span; readonly x: (step: number) => number; readonly insulin: boolean; readonly graduation: string; readonly lens: boolean }

/** Scale is every mark: long at tens, middling at fives, or at whole marks where the scale has halves. In the lens as many are named as there is room. */
function Scale({ span, x, insulin, graduation, lens: near }: ScaleProps) {
  const steps = Array.from({ length: span.until - span.from + 1 }, (_, i) => span.from + i);
  const whole = insulin && graduation === "0.005" ? 2 : 5;
  const length = (s: number) => (s % 10 === 0 ? 40 : s % whole === 0 ? 28 : 17);
  const every = near ? [2, 5, 10].find((n) => n * span.pitch >= 60) ?? 10 : 10;
  const named = steps.filter((s) => s % every === 0);
  const name = (s: number) => String(Math.round(s * Number(graduation) * (insulin ? 100 : 1) * 1000) / 1000);
  return (
    <g class="scale">
      <path d={steps.map((s) => `M${x(s)} ${top + wall}v${-length(s)}`).join("")} />
      {named.map((s) => <text x={x(s)} y={top + wall + 38} text-anchor="middle" font-size={near ? 32 : 28}>{name(s)}</text>)}
    </g>
  );
}
