// One injection under the hand: units by the keypad, place by millimetres, by nudge or by touch, depth, the other side. It opens beside the plan and
// closes nothing.

import { useState } from "preact/hooks";
import type { Injection, Place } from "../../../messages";
import { t, word } from "../../../i18n";
import { Choice } from "../../../ui/Choice";
import { Keypad } from "../../../ui/Keypad";
import { Quantity } from "../../../ui/Quantity";
import { micrometers, mmOf } from "../../../ui/decimal";
import type { Visit } from "../useVisit";
import { Distances } from "./Distances";
import { acrossText, originText, upText } from "./place";
import { copyOver, opposite, setDepth, setUnits, takeOut } from "./writes";
import { plannedUnits } from "../record";

interface EditorProps {
  readonly visit: Visit;
  readonly injection: Injection;
  readonly number: number;
  readonly product: string;
  readonly onMove: (place: Place) => void;
  readonly onClose: () => void;
}

type Asked = "units" | "x" | "y" | null;

/** nudge is how far one tap moves, in micrometres. */
const nudge = 500;

/** Editor edits one injection. */
export function Editor(props: EditorProps) {
  const { visit, injection: i, number, onClose } = props;
  const [asked, setAsked] = useState<Asked>(plannedUnits(i) ? null : "units");
  const name = `${word("muscle", i.muscle)}, ${word("side", i.side)}`;
  return (
    <section class="card marked stack tight" aria-label={t("editor.title", { number })}>
      <div class="row apart">
        <h2><span class="number">{number}</span> {name}</h2>
        <button type="button" class="button" onClick={onClose}>{t("editor.close")}</button>
      </div>
      {asked ? <Ask {...props} asked={asked} name={name} onLeave={() => setAsked(null)} /> : <Controls {...props} onAsk={setAsked} />}
      {!asked && <Distances visit={visit} injection={i} />}
    </section>
  );
}

function Ask({ visit, injection: i, product, asked, name, onMove, onLeave }: EditorProps & { asked: Exclude<Asked, null>; name: string; onLeave: () => void }) {
  if (asked === "units") {
    return <Keypad label={t("editor.units_of", { name })} unit="units" value={plannedUnits(i)} places={3} range={t("editor.units_range", { product })}
      onDone={(units) => { void setUnits(visit, i.id!, product, units).then((kept) => kept && onLeave()); }} onLeave={onLeave} />;
  }
  const place = i.place ?? { frame: frameOf(visit, i) };
  const now = asked === "x" ? place.x_micrometers : place.y_micrometers;
  return <Keypad label={t(asked === "x" ? "editor.x_of" : "editor.y_of", { name })} unit="mm" value={mmOf(now)} places={1} signed
    range={t(asked === "x" ? "editor.x_range" : "editor.y_range", { origin: originText(visit.anatomy, place.frame) })}
    onDone={(mm) => { const um = micrometers(mm); if (um !== null) onMove({ ...place, [asked === "x" ? "x_micrometers" : "y_micrometers"]: um }); onLeave(); }} onLeave={onLeave} />;
}

const frameOf = (visit: Visit, i: Injection) => visit.anatomy?.muscles.find((m) => m.code === i.muscle)?.frame ?? "mouth";

function Controls({ visit, injection: i, onAsk, onMove, onClose }: EditorProps & { onAsk: (asked: Asked) => void }) {
  const place = i.place ?? { frame: frameOf(visit, i), x_micrometers: 0, y_micrometers: 0 };
  const units = plannedUnits(i);
  const by = (dx: number, dy: number) => onMove({ ...place, x_micrometers: (place.x_micrometers ?? 0) + dx * nudge, y_micrometers: (place.y_micrometers ?? 0) + dy * nudge });
  return (
    <>
      <div class="editor-grid">
        <button type="button" class="button great" onClick={() => onAsk("units")}>{units ? <Quantity value={units} unit="units" /> : t("plan.no_units")}</button>
        <Nudges by={by} />
        <div class="stack tight">
          <button type="button" class="button chart" onClick={() => onAsk("x")}>{acrossText(place)}</button>
          <button type="button" class="button chart" onClick={() => onAsk("y")}>{upText(place)}</button>
        </div>
      </div>
      <p class="soft small">{t("editor.from", { origin: originText(visit.anatomy, place.frame) })}</p>
      <Choice legend={t("editor.depth")} value={i.depth?.layer} onPick={(layer) => { void setDepth(visit, i.id!, layer); }}
        options={(["DEPTH_LAYER_INTRADERMAL", "DEPTH_LAYER_SUBCUTANEOUS", "DEPTH_LAYER_INTRAMUSCULAR", "DEPTH_LAYER_PERIOSTEAL"] as const).map((value) => ({ value, label: word("depth", value) }))} />
      <div class="row">
        {i.side && i.side !== "SIDE_MIDLINE" && (
          <button type="button" class="button chart" onClick={() => { void copyOver(visit, i.muscle ?? "", i.side!); }}>{t("editor.copy", { side: word("side", opposite(i.side)) })}</button>
        )}
        <button type="button" class="button chart" onClick={() => { void takeOut(visit, i.id!, t("editor.out_reason")); onClose(); }}>{t("editor.out")}</button>
      </div>
    </>
  );
}

/** Nudges move by half a millimetre a tap; left and right are those of the picture, and say the patient's side. */
function Nudges({ by }: { by: (dx: number, dy: number) => void }) {
  return (
    <div class="nudges" role="group" aria-label={t("nudge.title")}>
      <button type="button" class="button chart up" aria-label={t("nudge.up")} onClick={() => by(0, 1)}>{"\u2191"}</button>
      <button type="button" class="button chart left" aria-label={t("nudge.right_side")} onClick={() => by(-1, 0)}>{"\u2190"}</button>
      <button type="button" class="button chart right" aria-label={t("nudge.left_side")} onClick={() => by(1, 0)}>{"\u2192"}</button>
      <button type="button" class="button chart down" aria-label={t("nudge.down")} onClick={() => by(0, -1)}>{"\u2193"}</button>
    </div>
  );
}
