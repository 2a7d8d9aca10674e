// Ratings: one grade a region, side and contraction, right beside left, with what was graded last time. Plain words of the clinic's scale.

import { useState } from "preact/hooks";
import type { Contraction, Grade, Rating, RatingScale, Side } from "../../messages";
import { dayText, t, word } from "../../i18n";
import { Choice } from "../../ui/Choice";
import { act, currentRatings, live } from "./record";
import { useLast } from "./Plan";
import type { StepProps } from "./Visit";
import type { Visit } from "./useVisit";

const upper: readonly Contraction[] = ["CONTRACTION_AT_REST", "CONTRACTION_CONTRACTED"];
const lower: readonly Contraction[] = ["CONTRACTION_AT_REST", "CONTRACTION_SMILING", "CONTRACTION_LOWER_TEETH"];

/** contractions are what a region is graded at: the lower face at rest, smiling, and with the lower teeth showing. */
export const contractions = (face: string | undefined): readonly Contraction[] => (face === "lower_face" ? lower : upper);

/** find is the grade of a region, side and contraction. */
export const find = (ratings: readonly Rating[], region: string, side: Side, contraction: Contraction): Rating | undefined =>
  ratings.filter((r) => r.grade!.region === region && r.grade!.side === side && r.grade!.contraction === contraction).at(-1);

/** areas are what may be graded: those of the plan first. */
function areas(visit: Visit) {
  const planned = new Set(live(visit.session).map((i) => i.muscle));
  const graded = new Set(currentRatings(visit.session).map((r) => r.grade!.region));
  const all = visit.anatomy?.areas ?? [];
  return [...all.filter((a) => graded.has(a.code) || a.muscles.some((m) => planned.has(m)))];
}

/** scaleOf is the clinic's scale of an area, else one that is for any. */
function scaleOf(visit: Visit, area: string, region: string): RatingScale | undefined {
  const scales = (visit.formulary?.rating_scales ?? []).filter((e) => !e.removed && e.value).map((e) => e.value!);
  return scales.find((s) => s.regions?.includes(area) || s.regions?.includes(region)) ?? scales.find((s) => !s.regions?.length);
}

/** Ratings is the step. */
export function Ratings({ visit, layout }: StepProps) {
  const [more, setMore] = useState<string[]>([]);
  const last = useLast(visit);
  const shown = [...areas(visit), ...(visit.anatomy?.areas ?? []).filter((a) => more.includes(a.code))];
  const others = (visit.anatomy?.areas ?? []).filter((a) => !shown.includes(a));
  return layout({
    title: t("ratings.title"),
    deck: <button type="button" class="button primary" onClick={() => visit.show(visit.session.kind === "SESSION_KIND_REVIEW" ? "review" : "plan")}>{t("ratings.next")}</button>,
    body: (
      <>
        {shown.length === 0 && <p>{t("ratings.pick")}</p>}
        {shown.map((a) => <Area visit={visit} area={a} scale={scaleOf(visit, a.code, a.region)} last={last ? currentRatings(last) : []} lastDay={dayText(last?.on)} />)}
        <Choice legend={t("ratings.more")} value={undefined} onPick={(code: string) => setMore([...more, code])} options={others.map((a) => ({ value: a.code, label: word("area", a.code) }))} />
      </>
    ),
  });
}

interface AreaProps { readonly visit: Visit; readonly area: { code: string; region: string }; readonly scale: RatingScale | undefined; readonly last: readonly Rating[]; readonly lastDay: string }

function Area({ visit, area, scale, last, lastDay }: AreaProps) {
  if (!scale) return <p class="message caution">{t("ratings.no_scale", { area: word("area", area.code) })}</p>;
  return (
    <section class="card stack tight" aria-label={word("area", area.code)}>
      <h2>{word("area", area.code)}</h2>
      <p class="soft small">{t("ratings.scale", { scale: scale.label ?? scale.code ?? "", version: scale.version ?? "", direction: word("direction", scale.higher_is) })}</p>
      {contractions(area.region).map((c) => (
        <div class="stack tight">
          <h3>{word("contraction", c)}</h3>
          <div class="sides">{(["SIDE_RIGHT", "SIDE_LEFT"] as const).map((side) => <Grades visit={visit} area={area.code} side={side} contraction={c} scale={scale} before={find(last, area.code, side, c)} lastDay={lastDay} />)}</div>
        </div>
      ))}
    </section>
  );
}

interface GradesProps { readonly visit: Visit; readonly area: string; readonly side: Side; readonly contraction: Contraction; readonly scale: RatingScale; readonly before: Rating | undefined; readonly lastDay: string }

function Grades({ visit, area, side, contraction, scale, before, lastDay }: GradesProps) {
  const now = find(currentRatings(visit.session), area, side, contraction);
  const pick = (text: string) => {
    const id = now?.id ?? visit.core.newId();
    const grade: Grade = { scale: scale.code!, version: scale.version!, direction: scale.higher_is!, region: area, side, contraction, grade: Number(text), rated: act(visit.core.person.value.staff_id) };
    void visit.write([now ? `ratings[${id}].grade` : `ratings[${id}]`], { ratings: [{ id, grade }] });
  };
  return (
    <div class="stack tight">
      <Choice legend={t(side === "SIDE_RIGHT" ? "side.right_long" : "side.left_long")} value={now ? String(now.grade!.grade ?? 0) : undefined} onPick={pick}
        options={(scale.grades ?? []).map((g) => ({ value: String(g.grade ?? 0), label: `${g.grade ?? 0} ${g.text ?? ""}` }))} />
      {before && <p class="soft small">{t("ratings.before", { day: lastDay, grade: before.grade!.grade ?? 0 })}</p>}
    </div>
  );
}
