// One question with its answers. It is the same for staff and for the patient; only staff see what was said last time.

import type { Answer, Questionnaire, YesNo } from "../../../messages";
import { dayText, t, word } from "../../../i18n";
import { Field, useDraft } from "../../../ui/Field";
import type { Visit } from "../useVisit";
import { take, type Asked } from "./questions";

const yesNo: readonly YesNo[] = ["YES_NO_YES", "YES_NO_NO", "YES_NO_UNSURE", "YES_NO_DECLINED"];

interface QuestionProps { readonly visit: Visit; readonly questionnaire: Questionnaire; readonly asked: Asked; readonly facing?: boolean }

/** Question asks one question. */
export function Question({ visit, questionnaire, asked, facing }: QuestionProps) {
  const { question: q, answer, before } = asked;
  const waiting = Boolean(answer?.carried && !answer.carried.confirmed);
  return (
    <li class="card stack tight">
      <h2 class="ask" id={`q-${q.code}`}>{q.text}{q.must_be_answered ? "" : ` (${t("question.may_skip")})`}</h2>
      {!facing && before && <p class="soft small">{t("question.before", { day: dayText(before.session.on), answer: answerText(before.answer, asked) })}</p>}
      {!facing && waiting && <p class="strong">{t("question.not_confirmed")}</p>}
      <Answers visit={visit} questionnaire={questionnaire} asked={asked} />
    </li>
  );
}

function Answers({ visit, questionnaire, asked }: QuestionProps) {
  const said = asked.answer?.answer, q = asked.question;
  const group = { role: "group", "aria-labelledby": `q-${q.code}` } as const;
  if (q.form === "ANSWER_FORM_YES_NO" || q.form === "ANSWER_FORM_PRIOR_TREATMENT") {
    return <div class="choice" {...group}>{yesNo.map((v) => <button type="button" class="button chart" aria-pressed={said?.yes_no === v} onClick={() => take(visit, questionnaire, asked, { yes_no: v })}>{word("yes_no", v)}</button>)}</div>;
  }
  if (q.form === "ANSWER_FORM_ONE_CHOICE" || q.form === "ANSWER_FORM_MANY_CHOICES") {
    const many = q.form === "ANSWER_FORM_MANY_CHOICES", now = said?.choices ?? [];
    const toggled = (code: string) => (!many ? [code] : now.includes(code) ? now.filter((c) => c !== code) : [...now, code]);
    return <div class="choice" {...group}>{(q.choices ?? []).map((c) => <button type="button" class="button chart" aria-pressed={now.includes(c.code!)} onClick={() => take(visit, questionnaire, asked, { choices: toggled(c.code!) })}>{c.text}</button>)}</div>;
  }
  return <Words visit={visit} questionnaire={questionnaire} asked={asked} />;
}

function Words({ visit, questionnaire, asked }: QuestionProps) {
  const q = asked.question, [text, setText, forget] = useDraft(visit.core, `visit/${visit.session.id}/q/${q.code}`, asked.answer?.answer?.text ?? "");
  const save = () => { if (text.trim()) void take(visit, questionnaire, asked, { text: text.trim() }).then((kept) => kept && forget()); };
  return (
    <div class="row">
      <div class="grow"><Field id={`a-${q.code}`} label={t("question.words")} value={text} onInput={setText} lines /></div>
      <button type="button" class="button chart" onClick={save}>{t("question.keep")}</button>
    </div>
  );
}

/** answerText is an answer in words. */
function answerText(answer: Answer, asked: Asked): string {
  if (answer.yes_no) return word("yes_no", answer.yes_no);
  if (answer.choices?.length) return answer.choices.map((c) => asked.question.choices?.find((x) => x.code === c)?.text ?? c).join(", ");
  return answer.text || (answer.on ? dayText(answer.on) : t("word.none"));
}
