// In the patient's hands: her questions, or the text she signs, and nothing else. Leaving it locks the tablet, so that she cannot look further.

import { signal } from "@preact/signals";
import type { Core } from "../core";
import { t } from "../i18n";
import { hand } from "./route";
import { ConsentForm, ConsentWords, useConsentTexts } from "./visit/ConsentForm";
import { Question } from "./visit/screening/Question";
import { open, useQuestions } from "./visit/screening/questions";
import { useVisit, type Visit } from "./visit/useVisit";
import { Faults } from "./visit/Visit";

/** Facing is what the patient holds. */
export interface Facing { readonly id: string; readonly what: "questions" | "consent"; readonly text?: string }

/** facing is what is in the patient's hands; null while the tablet is in staff's. */
export const facing = signal<Facing | null>(null);

/** FacingScreen is the screen for the patient. */
export function FacingScreen({ core, now }: { core: Core; now: Facing }) {
  const visit = useVisit(core, now.id, () => undefined);
  const back = () => { facing.value = null; core.lock(); };
  return (
    <div class="app bare facing" data-hand={hand.value}>
      <main class="page" id="page">
        <h1 tabIndex={-1}>{t(now.what === "questions" ? "facing.questions" : "facing.consent")}</h1>
        <Faults />
        {visit && (now.what === "questions" ? <Questions visit={visit} /> : <Text visit={visit} id={now.text ?? ""} />)}
      </main>
      <footer class="deck"><button type="button" class="button primary great" onClick={back}>{t("facing.back")}</button></footer>
    </div>
  );
}

function Questions({ visit }: { visit: Visit }) {
  const { questionnaire, asked } = useQuestions(visit);
  if (!questionnaire) return <p>{t("screening.none")}</p>;
  const left = open(asked).length;
  return (
    <>
      <p class="large">{t("facing.questions_more")}</p>
      <ol class="rows">{asked.map((a) => <Question key={a.question.code} visit={visit} questionnaire={questionnaire} asked={a} facing />)}</ol>
      <p class="large strong" role="status">{left ? t("facing.left", { n: left }) : t("facing.all")}</p>
    </>
  );
}

function Text({ visit, id }: { visit: Visit; id: string }) {
  const text = useConsentTexts(visit).find((c) => c.id === id);
  if (!text) return <p>{t("consent.no_text")}</p>;
  return <><ConsentWords text={text} /><ConsentForm visit={visit} text={text} /></>;
}
