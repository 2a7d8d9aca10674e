// A signature by hand: strokes in micrometres from the upper left corner of the field, as the record keeps them. Whoever cannot draw signs by her typed
// name instead; the screen offers both.

import { useRef } from "preact/hooks";
import type { Stroke } from "../messages";
import { t } from "../i18n";

/** micrometresPerPixel is a CSS pixel by definition: 1/96 of an inch. */
const micrometresPerPixel = 25400 / 96;

/** most are the bounds of the record: strokes, and numbers in a stroke. */
const mostStrokes = 512, mostNumbers = 2048, largest = 400_000;

const bounded = (pixels: number) => Math.min(largest, Math.max(0, Math.round(pixels * micrometresPerPixel)));

/** strokePath is a stroke as an SVG path in CSS pixels. */
export function strokePath(stroke: Stroke): string {
  const p = stroke.points_micrometers ?? [];
  let d = "";
  for (let i = 0; i + 1 < p.length; i += 2) d += `${i ? "L" : "M"}${(p[i]! / micrometresPerPixel).toFixed(1)} ${(p[i + 1]! / micrometresPerPixel).toFixed(1)}`;
  return p.length === 2 ? `${d}h0.1` : d;
}

/** Strokes is a field to sign in; without onChange it only shows. */
export function Strokes({ strokes, onChange, label }: { strokes: readonly Stroke[]; onChange?: (strokes: Stroke[]) => void; label: string }) {
  const field = useRef<SVGSVGElement>(null);
  const drawing = useRef(false);
  const point = (e: PointerEvent) => {
    const box = field.current!.getBoundingClientRect();
    return [bounded(e.clientX - box.left), bounded(e.clientY - box.top)];
  };
  const begin = (e: PointerEvent) => {
    if (!onChange || strokes.length >= mostStrokes) return;
    field.current!.setPointerCapture(e.pointerId);
    drawing.current = true;
    onChange([...strokes, { points_micrometers: point(e) }]);
  };
  const go = (e: PointerEvent) => {
    const last = strokes[strokes.length - 1]?.points_micrometers;
    if (!onChange || !drawing.current || !last || last.length >= mostNumbers) return;
    onChange([...strokes.slice(0, -1), { points_micrometers: [...last, ...point(e)] }]);
  };
  return (
    <div class="strokes">
      <svg ref={field} role="img" aria-label={strokes.length ? t("strokes.some", { label, n: strokes.length }) : t("strokes.none", { label })} onPointerDown={begin} onPointerMove={go} onPointerUp={() => { drawing.current = false; }}>
        <path class="base" d="M16 130H2000" />
        {strokes.map((s) => <path d={strokePath(s)} />)}
      </svg>
      {onChange && strokes.length > 0 && <button type="button" class="button" onClick={() => onChange([])}>{t("strokes.again")}</button>}
    </div>
  );
}
