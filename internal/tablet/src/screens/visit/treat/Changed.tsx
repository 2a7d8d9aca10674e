// Given otherwise than planned: which injection, how many units, where the plunger stands, why. The rest is reckoned anew by the core.

import { useState } from "preact/hooks";
import { t, word } from "../../../i18n";
import { Choice } from "../../../ui/Choice";
import { useDraft, Field } from "../../../ui/Field";
import { Keypad } from "../../../ui/Keypad";
import { Quantity } from "../../../ui/Quantity";
import { quantityText } from "../../../ui/decimal";
import { givings, plannedUnits, plungerMl, type Group } from "../record";
import type { VialNow } from "../useVial";
import type { Visit } from "../useVisit";
import { giveChanged } from "./writes";

/** Changed records one injection that differs from its plan. */
export function Changed({ visit, group, product, vial, onClose }: { visit: Visit; group: Group; product: string; vial: VialNow; onClose: () => void }) {
  const rest = group.injections.filter((i) => givings(i).length === 0);
  const [id, setId] = useState(rest[0]?.id ?? "");
  const injection = rest.find((i) => i.id === id) ?? rest[0];
  const [units, setUnits] = useState("");
  const [mark, setMark] = useState("");
  const [asked, setAsked] = useState<"units" | "mark" | null>("units");
  const [reason, setReason, forget] = useDraft(visit.core, `visit/${visit.session.id}/changed`);
  if (!injection) return null;
  const name = `${word("side", injection.side)}, ${word("muscle", injection.muscle)}`;
  const save = async () => {
    if (units && reason.trim() && await giveChanged(visit, injection, product, units, mark, reason.trim(), vial)) { forget(); onClose(); }
  };
  if (asked === "units") {
    return <div class="card marked"><Keypad label={t("changed.units", { name })} unit="units" places={3} value={units || plannedUnits(injection)} range={t("changed.planned", { units: quantityText(plannedUnits(injection), "units") })}
      onDone={(u) => { setUnits(u); setAsked("mark"); }} onLeave={() => (units ? setAsked(null) : onClose())} /></div>;
  }
  if (asked === "mark") {
    return <div class="card marked"><Keypad key="mark" label={t("changed.mark")} unit="mL" places={6} value={mark} range={t("changed.stood", { mark: quantityText(plungerMl(visit.session) ?? "", "mL") })}
      onDone={(m) => { setMark(m); setAsked(null); }} onLeave={() => setAsked(null)} /></div>;
  }
  return (
    <section class="card marked stack tight" aria-label={t("changed.title")}>
      <h2>{t("changed.title")}</h2>
      {rest.length > 1 && <Choice legend={t("changed.which")} value={id} onPick={setId} options={rest.map((i) => ({ value: i.id!, label: quantityText(plannedUnits(i), "units") }))} />}
      <div class="row">
        <button type="button" class="button great" onClick={() => setAsked("units")}>{units ? <Quantity value={units} unit="units" /> : t("plan.no_units")}</button>
        <button type="button" class="button great" onClick={() => setAsked("mark")}>{mark ? t("changed.now_at", { mark: quantityText(mark, "mL") }) : t("changed.mark")}</button>
      </div>
      <Field id="changed-why" label={t("changed.why")} value={reason} onInput={setReason} />
      <div class="row">
        <button type="button" class="button primary chart" onClick={save} aria-disabled={!units || !reason.trim()}>{t("changed.save")}</button>
        <button type="button" class="button chart" onClick={onClose}>{t("changed.leave")}</button>
      </div>
    </section>
  );
}
