// A leak or a spill: how much, or that nobody knows, and where the plunger stands. What is unknown is recorded so, and never as nothing.

import { useState } from "preact/hooks";
import { t } from "../../../i18n";
import { useDraft, Field } from "../../../ui/Field";
import { Keypad } from "../../../ui/Keypad";
import { quantityText } from "../../../ui/decimal";
import { givings, live, plungerMl } from "../record";
import type { Visit } from "../useVisit";
import { spill, type Made } from "./writes";

/** lastMade is the newest giving of the visit. */
export function lastMade(visit: Visit): Made | undefined {
  const all = live(visit.session).flatMap((i) => givings(i).map((g) => ({ injection: i.id!, giving: g.id!, at: g.done?.at ?? "" })));
  return all.sort((a, b) => a.at.localeCompare(b.at)).at(-1);
}

/** Spilt records what was lost. */
export function Spilt({ visit, onClose }: { visit: Visit; onClose: () => void }) {
  const [lost, setLost] = useState("");
  const [mark, setMark] = useState("");
  const [asked, setAsked] = useState<"lost" | "mark" | null>(null);
  const [text, setText, forget] = useDraft(visit.core, `visit/${visit.session.id}/spilt`);
  const stood = quantityText(plungerMl(visit.session) ?? "", "mL");
  const save = async () => { if (await spill(visit, lastMade(visit), lost, mark, text.trim())) { forget(); onClose(); } };
  if (asked) {
    return <div class="card marked"><Keypad key={asked} label={t(asked === "lost" ? "spilt.lost" : "changed.mark")} unit="mL" places={6} value={asked === "lost" ? lost : mark} range={t("changed.stood", { mark: stood })}
      onDone={(ml) => { (asked === "lost" ? setLost : setMark)(ml); setAsked(null); }} onLeave={() => setAsked(null)} /></div>;
  }
  return (
    <section class="card marked stack tight" aria-label={t("spilt.title")}>
      <h2>{t("spilt.title")}</h2>
      <div class="row">
        <button type="button" class="button great" onClick={() => setAsked("lost")}>{lost ? quantityText(lost, "mL") : t("spilt.unknown")}</button>
        <button type="button" class="button great" onClick={() => setAsked("mark")}>{mark ? t("changed.now_at", { mark: quantityText(mark, "mL") }) : t("changed.mark")}</button>
      </div>
      <Field id="spilt-what" label={t("spilt.what")} value={text} onInput={setText} />
      <div class="row">
        <button type="button" class="button primary chart" onClick={save}>{t("spilt.save")}</button>
        <button type="button" class="button chart" onClick={onClose}>{t("changed.leave")}</button>
      </div>
    </section>
  );
}
