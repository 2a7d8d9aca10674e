// The course of the treatment: every muscle and side in order, what was given, what is next, what was left out; and the way to void what was not so.

import { useState } from "preact/hooks";
import type { Giving, Injection } from "../../../messages";
import { t, timeText, word } from "../../../i18n";
import { Field } from "../../../ui/Field";
import { Quantity } from "../../../ui/Quantity";
import { mlOf, quantityText, unitsOf } from "../../../ui/decimal";
import { markText } from "../../../ui/syringe/Syringe";
import { givings, plannedUnits, skipped, type Group } from "../record";
import { putBack } from "../plan/writes";
import type { Visit } from "../useVisit";
import { voidGiving } from "./writes";

/** Course lists the groups. */
export function Course({ visit, course, next, marks, insulin }: { visit: Visit; course: readonly Group[]; next: Group | undefined; marks: ReadonlyMap<string, string> | undefined; insulin: boolean }) {
  let n = 0;
  return (
    <section class="stack tight" aria-label={t("course.title")}>
      <h2>{t("course.title")}</h2>
      <ol class="rows">{course.map((g) => (
        <li class={`card course${g === next ? " marked" : ""}`} aria-current={g === next ? "step" : undefined}>
          <p class="strong large">{g === next ? "\u25b6 " : ""}{word("side", g.side)}, {word("muscle", g.muscle)}</p>
          <ul>{g.injections.map((i) => <Line visit={visit} injection={i} number={++n} mark={marks?.get(i.id!)} insulin={insulin} />)}</ul>
        </li>
      ))}</ol>
      {skipped(visit.session).length > 0 && (
        <ul class="rows">{skipped(visit.session).map((i) => (
          <li class="card row apart">
            <span>{"\u2715"} {t("course.skipped", { what: `${word("side", i.side)}, ${word("muscle", i.muscle)}`, units: quantityText(plannedUnits(i), "units"), reason: i.void?.reason ?? "" })}</span>
            <button type="button" class="button" onClick={() => putBack(visit, i.id!)}>{t("course.put_back")}</button>
          </li>
        ))}</ul>
      )}
    </section>
  );
}

function Line({ visit, injection: i, number, mark, insulin }: { visit: Visit; injection: Injection; number: number; mark: string | undefined; insulin: boolean }) {
  const all = givings(i);
  return (
    <li class="course-line">
      <span class="row"><span class="number">{number}</span> <Quantity value={plannedUnits(i)} unit="units" /> {all.length === 0 && mark !== undefined && <span class="soft">{t("treat.to_mark")} {markText(mark, insulin)}</span>}</span>
      {all.map((g) => <Given visit={visit} injection={i} giving={g} insulin={insulin} />)}
    </li>
  );
}

function Given({ visit, injection, giving: g, insulin }: { visit: Visit; injection: Injection; giving: Giving; insulin: boolean }) {
  const [asking, setAsking] = useState(false);
  const [reason, setReason] = useState("");
  const units = unitsOf(g.given?.dose?.dose_milliunits);
  const after = g.given?.mark_after_nanoliters;
  const save = async () => { if (reason.trim() && await voidGiving(visit, { injection: injection.id!, giving: g.id! }, reason.trim())) setAsking(false); };
  return (
    <div class="stack tight">
      <span class="row">
        <span class="tag given">{"\u2713"} {t("course.given", { time: timeText(g.done?.at) })}{units === plannedUnits(injection) ? "" : ` ${quantityText(units, "units")}`}{after !== undefined ? ` ${markText(mlOf(after), insulin)}` : ""}</span>
        {g.spill && <span class="tag caution">{"\u25b2"} {g.spill.lost_nanoliters ? t("course.spilt", { lost: quantityText(mlOf(g.spill.lost_nanoliters), "mL") }) : t("course.spilt_unknown")}</span>}
        <button type="button" class="button" aria-expanded={asking} onClick={() => setAsking(!asking)}>{t("course.void")}</button>
      </span>
      {asking && (
        <div class="row">
          <div class="grow"><Field id={`void-${g.id}`} label={t("course.void_why")} value={reason} onInput={setReason} /></div>
          <button type="button" class="button warn chart" onClick={save} aria-disabled={!reason.trim()}>{t("course.void_save")}</button>
        </div>
      )}
    </div>
  );
}
