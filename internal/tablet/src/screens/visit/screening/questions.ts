// The questions of a visit: which are asked, what was answered, what was said last time.

import type { Answer, Questionnaire, QuestionText, RecordView, ScreeningAnswer, Session } from "../../../messages";
import { useRead } from "../../../use";
import { act } from "../record";
import type { Visit } from "../useVisit";

export interface Asked {
  readonly question: QuestionText;
  readonly answer: ScreeningAnswer | undefined;
  /** What was said in an earlier visit, and in which; undefined when it was never asked. */
  readonly before: { readonly answer: Answer; readonly session: Session } | undefined;
}

/** current is the questionnaire in use: published, not withdrawn, the highest version. */
function current(views: readonly RecordView[]): Questionnaire | undefined {
  const all = views.map((v) => v.record?.questionnaire).filter((q): q is Questionnaire => Boolean(q?.published && !q.withdrawn));
  return all.sort((a, b) => Number(a.version ?? 0) - Number(b.version ?? 0)).at(-1);
}

const counts = (a: ScreeningAnswer) => !a.void && a.answer;

/** answerTo is the newest answer of a session to a question. */
const answerTo = (session: Session, code: string | undefined) => (session.screening ?? []).filter((a) => counts(a) && a.answer!.question === code).at(-1);

/** useQuestions is the questionnaire with what was answered. */
export function useQuestions(visit: Visit): { questionnaire: Questionnaire | undefined; asked: Asked[]; previous: Session | undefined } {
  const { patient_id, id } = visit.session;
  const views = useRead(visit.core, () => visit.core.list({ kind: "RECORD_KIND_QUESTIONNAIRE" }), []).value ?? [];
  const sessions = useRead(visit.core, async () => (patient_id ? visit.core.sessions({ patient_id }) : []), [patient_id]).value ?? [];
  const earlier = sessions.map((v) => v.record?.session).filter((s): s is Session => Boolean(s && s.id !== id && !s.void));
  const questionnaire = current(views);
  const bodies = (questionnaire?.questions ?? []).map((q) => q.body).filter((b): b is QuestionText => Boolean(b)).sort((a, b) => (a.position ?? 0) - (b.position ?? 0));
  const asked = bodies.filter((b) => isShown(b, visit.session)).map((question): Asked => {
    const session = earlier.find((s) => answerTo(s, question.code));
    return { question, answer: answerTo(visit.session, question.code), before: session && { answer: answerTo(session, question.code)!.answer!, session } };
  });
  return { questionnaire, asked, previous: asked.find((a) => a.before)?.before?.session };
}

function isShown(question: QuestionText, session: Session): boolean {
  const on = question.shown_if;
  if (!on?.question) return true;
  const a = answerTo(session, on.question)?.answer;
  return on.choice ? Boolean(a?.choices?.includes(on.choice)) : a?.yes_no === on.yes_no;
}

/** open are the questions without an answer that counts: none, or one carried over that nobody confirmed. */
export const open = (asked: readonly Asked[]): Asked[] => asked.filter((a) => !a.answer || (a.answer.carried && !a.answer.carried.confirmed));

type Said = Pick<Answer, "yes_no" | "choices" | "text" | "on" | "product" | "dose_milliunits">;

/** take writes an answer. */
export function take(visit: Visit, questionnaire: Questionnaire, asked: Asked, said: Said) {
  const id = visit.core.newId();
  const answer: Answer = { questionnaire_id: questionnaire.id!, version: questionnaire.version!, question: asked.question.code!, ...said, taken: act(visit.core.person.value.staff_id) };
  const old = asked.answer;
  return old ? visit.write([`screening[${old.id}].answer`, ...(old.carried ? [`screening[${old.id}].carried`] : [])], { screening: [{ id: old.id!, answer }] })
    : visit.write([`screening[${id}]`], { screening: [{ id, answer }] });
}

/** confirmAll carries over what was said last time, as confirmed with the patient now: one tap, after each was read to her. */
export function confirmAll(visit: Visit, questionnaire: Questionnaire, asked: readonly Asked[]) {
  const confirmed = act(visit.core.person.value.staff_id);
  const made: ScreeningAnswer[] = open(asked).filter((a) => a.before && a.before.answer.version === questionnaire.version).map((a) => ({
    id: a.answer?.id ?? visit.core.newId(), answer: a.answer?.answer ?? a.before!.answer, carried: { session_id: a.before!.session.id!, confirmed },
  }));
  return visit.write(made.map((a) => `screening[${a.id}]`), { screening: made });
}
