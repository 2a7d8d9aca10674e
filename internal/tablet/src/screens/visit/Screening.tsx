// Screening: the questions, with what was said last time to be confirmed. Unanswered is never "no".

import { t, dayText } from "../../i18n";
import { Findings } from "../../ui/Findings";
import { facing } from "../Facing";
import { Question } from "./screening/Question";
import { confirmAll, open, useQuestions } from "./screening/questions";
import type { StepProps } from "./Visit";

const codes = /SCREENING|ALLERGY|CONTRAINDICATION|INFECTION|INTERACTION|PREGNANCY|BREAST|CONDITION|PATIENT_ALERT|EXCIPIENTS|INTERVAL|WINDOW|HISTORY|ELSEWHERE/;

/** Screening is the step. */
export function Screening({ visit, layout }: StepProps) {
  const { questionnaire, asked, previous } = useQuestions(visit);
  const left = open(asked);
  const known = left.filter((a) => a.before);
  return layout({
    title: t("screening.title"),
    deck: (
      <>
        <button type="button" class="button" onClick={() => { facing.value = { id: visit.session.id!, what: "questions" }; }}>{t("facing.hand_over")}</button>
        {known.length > 0 && previous && <button type="button" class="button" onClick={() => questionnaire && confirmAll(visit, questionnaire, asked)}>{t("screening.confirm_all", { day: dayText(previous.on) })}</button>}
        <button type="button" class="button primary" onClick={() => visit.show("consent")}>{t("screening.next")}</button>
      </>
    ),
    body: (
      <>
        <p class={left.length ? "message caution" : "message"}>{!questionnaire ? t("screening.none") : left.length ? t("screening.left", { n: left.length, all: asked.length }) : t("screening.all", { n: asked.length })}</p>
        <Findings findings={(visit.check?.findings ?? []).filter((f) => codes.test(f.code ?? ""))} />
        {questionnaire && <ol class="rows">{asked.map((a) => <Question key={a.question.code} visit={visit} questionnaire={questionnaire} asked={a} />)}</ol>}
      </>
    ),
  });
}
