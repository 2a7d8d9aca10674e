// The plan: a table of muscle by side, and beside it the same on the face.

import { useEffect, useRef, useState } from "preact/hooks";
import type { Injection, Place, Session, Side } from "../../messages";
import { t, word } from "../../i18n";
import { useRead } from "../../use";
import { Choice } from "../../ui/Choice";
import { Findings } from "../../ui/Findings";
import { Quantity } from "../../ui/Quantity";
import { Caution } from "../Frame";
import { Editor } from "./plan/Editor";
import { Measures } from "./plan/Measures";
import { PlanFace } from "./plan/PlanFace";
import { PlanTable } from "./plan/PlanTable";
import { scaled } from "./plan/place";
import { add, asBefore, setPlace } from "./plan/writes";
import { live, measures } from "./record";
import type { Visit } from "./useVisit";
import type { StepProps } from "./Visit";

/** settleAfter is how long a moved injection rests before it is written, in milliseconds: ten nudges are one edit. */
const settleAfter = 500;

/** useMoved shows a move at once and writes it when the hand rests, or when another injection is chosen. */
function useMoved(visit: Visit) {
  const [moved, setMoved] = useState<{ id: string; place: Place } | null>(null);
  const waiting = useRef<{ id: string; place: Place; timer: number } | null>(null);
  const settle = () => {
    const w = waiting.current;
    if (!w) return;
    clearTimeout(w.timer);
    waiting.current = null;
    void setPlace(visit, w.id, w.place).then(() => setMoved((m) => (m?.place === w.place ? null : m)));
  };
  const move = (id: string, place: Place) => {
    if (waiting.current && waiting.current.id !== id) settle();
    if (waiting.current) clearTimeout(waiting.current.timer);
    setMoved({ id, place });
    waiting.current = { id, place, timer: window.setTimeout(settle, settleAfter) };
  };
  useEffect(() => settle, []);
  const shown = (i: Injection): Injection => (moved?.id === i.id ? { ...i, place: moved!.place } : i);
  return { move, shown, settle };
}

/** productOf is the product of the plan, or of what was given last; the order's where nothing is planned. */
export function useProduct(visit: Visit): string {
  const own = live(visit.session).find((i) => i.planned?.product)?.planned?.product;
  const order = useRead(visit.core, async () => (visit.session.order_id ? visit.core.view({ kind: "RECORD_KIND_ORDER", record_id: visit.session.order_id }) : null), [visit.session.order_id]).value;
  return own ?? order?.record?.order?.lines?.find((l) => !l.withdrawn)?.leave?.product ?? "";
}

/** useLast is the newest earlier treatment of the patient. */
export function useLast(visit: Visit): Session | undefined {
  const { patient_id, id } = visit.session;
  const all = useRead(visit.core, async () => (patient_id ? visit.core.sessions({ patient_id }) : []), [patient_id]).value ?? [];
  return all.map((v) => v.record?.session).find((s) => s && s.id !== id && !s.void && s.kind !== "SESSION_KIND_REVIEW" && (s.injections ?? []).length > 0);
}

/** Plan is the step. */
export function Plan({ visit, layout }: StepProps) {
  const [chosen, setChosen] = useState<string | undefined>(undefined);
  const [open, setOpen] = useState<"add" | "measures" | null>(null);
  const { move, shown, settle } = useMoved(visit);
  const product = useProduct(visit), last = useLast(visit);
  const injections = live(visit.session).map(shown);
  const numbers = new Map(injections.map((i, n) => [i.id!, n + 1]));
  const selected = injections.find((i) => i.id === chosen);
  const choose = (id: string) => { settle(); setOpen(null); setChosen(id === chosen ? undefined : id); requestAnimationFrame(() => window.scrollTo(0, 0)); };
  const place = (p: Place) => selected && move(selected.id!, scaled(p, visit.anatomy, measures(visit.session)));
  const frames = [...new Set(injections.map((i) => i.place?.frame ?? ""))];
  return layout({
    title: t("plan.title"),
    deck: (
      <>
        <button type="button" class="button" aria-expanded={open === "add"} onClick={() => setOpen(open === "add" ? null : "add")}>{t("plan.add")}</button>
        {last && injections.length === 0 && <button type="button" class="button" onClick={() => { void asBefore(visit, last); }}>{t("plan.as_before")}</button>}
        <button type="button" class="button primary" onClick={() => visit.show("prepare")}>{t("plan.next")}</button>
      </>
    ),
    body: (
      <>
        <Totals visit={visit} product={product} />
        {open === "add" && <Add visit={visit} onAdded={(id) => { setChosen(id); setOpen(null); }} />}
        {selected && <Editor key={selected.id} visit={visit} injection={selected} number={numbers.get(selected.id!)!} product={product} onMove={place} onClose={() => { settle(); setChosen(undefined); }} />}
        <div class={selected ? "plan-grid editing" : "plan-grid"}>
          <div class="stack">
            {injections.length ? <PlanTable injections={injections} numbers={numbers} totals={visit.check?.totals?.[0]} selected={chosen} onSelect={choose} /> : <p>{t("plan.empty")}</p>}
          </div>
          <div class="stack">
            <PlanFace visit={visit} injections={injections} numbers={numbers} last={last} selected={selected} onSelect={choose} onPlace={place} />
            <button type="button" class="button" aria-expanded={open === "measures"} onClick={() => setOpen(open === "measures" ? null : "measures")}>{t("measure.title")}</button>
            {open === "measures" && <Measures visit={visit} frames={frames} />}
          </div>
        </div>
        <PlanFindings visit={visit} selected={chosen} />
        <Caution text={visit.check?.caution} />
      </>
    ),
  });
}

function Totals({ visit, product }: { visit: Visit; product: string }) {
  const planned = visit.check?.totals?.[0]?.planned;
  return (
    <p class="row apart">
      <span class="product">{product || t("plan.no_product")}</span>
      {planned?.most_units && <span>{t("plan.in_all")} <Quantity value={planned.most_units} unit="units" /></span>}
    </p>
  );
}

/** PlanFindings are those about the chosen injection, or about any where none is chosen; notes only of the chosen. */
function PlanFindings({ visit, selected }: { visit: Visit; selected: string | undefined }) {
  const all = visit.check?.findings ?? [];
  const about = (id: string) => all.filter((f) => (f.about ?? []).some((a) => a.includes(id)));
  const shown = selected ? about(selected) : about("injections").filter((f) => f.level !== "LEVEL_NOTE");
  return (
    <section class="stack tight" aria-label={t("plan.findings")}>
      <Findings findings={shown} />
      <div><button type="button" class="button" onClick={() => visit.show("findings")}>{t("findings.all", { n: all.length })}</button></div>
    </section>
  );
}

/** Add picks a muscle and a side; the dose is typed, never proposed. */
function Add({ visit, onAdded }: { visit: Visit; onAdded: (id: string) => void }) {
  const [region, setRegion] = useState("lower_face");
  const [muscle, setMuscle] = useState<string | null>(null);
  const of = (visit.anatomy?.muscles ?? []).filter((m) => m.target);
  const now = of.find((m) => m.code === muscle);
  const sides: Side[] = now?.nature === "midline" ? ["SIDE_MIDLINE"] : now?.nature === "across" ? ["SIDE_RIGHT", "SIDE_MIDLINE", "SIDE_LEFT"] : ["SIDE_RIGHT", "SIDE_LEFT"];
  return (
    <section class="card stack tight" aria-label={t("plan.add")}>
      <Choice legend={t("add.region")} value={region} onPick={(r) => { setRegion(r); setMuscle(null); }} options={(visit.anatomy?.regions ?? []).map((r) => ({ value: r.code, label: word("region", r.code) }))} />
      <Choice legend={t("add.muscle")} value={muscle ?? undefined} onPick={setMuscle} options={of.filter((m) => m.region === region).map((m) => ({ value: m.code, label: word("muscle", m.code) }))} />
      {now && <Choice legend={t("add.side")} value={undefined} onPick={(side: Side) => { void add(visit, now.code, side).then(onAdded); }} options={sides.map((value) => ({ value, label: word("side", value) }))} />}
    </section>
  );
}
