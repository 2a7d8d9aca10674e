// Review: the grades at rest, smiling and with the lower teeth showing, right beside left, each with what that side had. It describes; it names no side to
// treat and proposes no dose.

import { useState } from "preact/hooks";
import type { Contraction, OutcomeJudgement, Side, SideResponse, TreatmentSides } from "../../messages";
import { dayText, t, word } from "../../i18n";
import { useRead } from "../../use";
import { Choice } from "../../ui/Choice";
import { Findings } from "../../ui/Findings";
import { quantityText } from "../../ui/decimal";
import { Caution } from "../Frame";
import { startVisit } from "../start";
import { act } from "./record";
import type { Visit } from "./useVisit";
import type { StepProps } from "./Visit";

const moments: readonly Contraction[] = ["CONTRACTION_AT_REST", "CONTRACTION_SMILING", "CONTRACTION_LOWER_TEETH", "CONTRACTION_CONTRACTED"];
const answers = ["too_little", "as_wanted", "too_much", "spread"] as const;

/** Review is the step. */
export function Review({ visit, layout }: StepProps) {
  const { core, session } = visit;
  const parent = session.parent?.session_id ?? session.id ?? "";
  const read = useRead(core, async () => (session.patient_id ? core.asymmetry({ patient_id: session.patient_id }) : null), [session.patient_id]).value;
  const shown = read?.view?.treatments?.find((x) => x.session_id === parent) ?? read?.view?.treatments?.[0];
  return layout({
    title: t("review.title"),
    deck: (
      <>
        <button type="button" class="button" onClick={() => startVisit(core, { patient_id: session.patient_id ?? "", kind: "SESSION_KIND_TOUCH_UP", parent })}>{t("review.touch_up")}</button>
        <button type="button" class="button primary" onClick={() => visit.show("ratings")}>{t("review.grade")}</button>
      </>
    ),
    body: !shown ? <p>{t("review.none")}</p> : (
      <>
        <p class="large">{t("review.of", { day: dayText(shown.on) })}</p>
        <Doses shown={shown} />
        <Responses responses={shown.responses ?? []} />
        <Judge visit={visit} />
        <p class="soft">{read?.view?.statement}</p>
        <Findings findings={read?.findings ?? []} />
        <Caution text={read?.caution} />
      </>
    ),
  });
}

const spanText = (least: string | undefined, most: string | undefined) =>
  (most === undefined ? t("given.not") : least === most ? quantityText(most, "units") : t("state.range", { least: least ?? "", most: quantityText(most, "units") }));

function Doses({ shown }: { shown: TreatmentSides }) {
  return (
    <table class="lead">
      <caption>{t("review.doses")}</caption>
      <thead><tr><th scope="col">{t("plan.muscle")}</th><th scope="col">{t("side.right_long")}</th><th scope="col">{t("side.left_long")}</th></tr></thead>
      <tbody>{(shown.muscles ?? []).map((m) => (
        <tr>
          <th scope="row">{word("muscle", m.muscle)}<span class="product soft small" style={{ display: "block" }}>{m.product}</span></th>
          <td data-label={t("side.right_long")}><span class="quantity">{spanText(m.right?.given?.least_units, m.right?.given?.most_units)}</span></td>
          <td data-label={t("side.left_long")}><span class="quantity">{spanText(m.left?.given?.least_units, m.left?.given?.most_units)}</span></td>
        </tr>
      ))}</tbody>
    </table>
  );
}

function Responses({ responses }: { responses: readonly SideResponse[] }) {
  const sorted = [...responses].sort((a, b) => moments.indexOf(a.contraction!) - moments.indexOf(b.contraction!));
  if (sorted.length === 0) return <p class="message">{t("review.no_grades")}</p>;
  return (
    <table class="lead">
      <caption>{t("review.grades")}</caption>
      <thead><tr><th scope="col">{t("review.where")}</th><th scope="col">{t("side.right_long")}</th><th scope="col">{t("side.left_long")}</th></tr></thead>
      <tbody>{sorted.map((r) => (
        <tr>
          <th scope="row">{word("area", r.region)}<span class="soft" style={{ display: "block", fontWeight: 400 }}>{word("contraction", r.contraction)}</span></th>
          <td data-label={t("side.right_long")}>{change(r.right_before, r.right_after, r.direction)}</td>
          <td data-label={t("side.left_long")}>{change(r.left_before, r.left_after, r.direction)}</td>
        </tr>
      ))}</tbody>
    </table>
  );
}

function change(before: number | undefined, after: number | undefined, direction: SideResponse["direction"]) {
  const show = (n: number | undefined) => (n === undefined ? t("review.not_graded") : String(n));
  const better = before === undefined || after === undefined || before === after ? "" : (after < before) === (direction === "SCALE_DIRECTION_WORSE") ? t("review.less") : t("review.more");
  return <span class="large"><span class="strong">{show(before)} {"\u2192"} {show(after)}</span> {better && <span class="tag">{better}</span>}</span>;
}

/** Judge takes the result as clinician and patient see it, a side at a time. */
function Judge({ visit }: { visit: Visit }) {
  const [judge, setJudge] = useState<"JUDGE_CLINICIAN" | "JUDGE_PATIENT">("JUDGE_CLINICIAN");
  const of = (side: Side) => (visit.session.outcomes ?? []).filter((o) => !o.void && o.judgement?.judge === judge && o.judgement.side === side).at(-1);
  const pick = (side: Side, response: string) => {
    const old = of(side), id = old?.id ?? visit.core.newId();
    const judgement: OutcomeJudgement = { judge, side, response, taken: act(visit.core.person.value.staff_id) };
    void visit.write([old ? `outcomes[${id}].judgement` : `outcomes[${id}]`], { outcomes: [{ id, judgement }] });
  };
  return (
    <section class="card stack tight" aria-label={t("review.judge")}>
      <Choice legend={t("review.judge")} value={judge} onPick={setJudge} options={(["JUDGE_CLINICIAN", "JUDGE_PATIENT"] as const).map((value) => ({ value, label: word("judge", value) }))} />
      <div class="sides">{(["SIDE_RIGHT", "SIDE_LEFT"] as const).map((side) => (
        <Choice legend={t(side === "SIDE_RIGHT" ? "side.right_long" : "side.left_long")} value={of(side)?.judgement?.response as (typeof answers)[number] | undefined} onPick={(r) => pick(side, r)}
          options={answers.map((value) => ({ value, label: word("response", value) }))} />
      ))}</div>
    </section>
  );
}
