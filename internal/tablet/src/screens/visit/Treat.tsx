// Treat: the next muscle and side, how many units, and at which mark the plunger must stand. One tap, key or pedal says "given as planned".

import { useEffect, useState } from "preact/hooks";
import { t, word } from "../../i18n";
import { Findings } from "../../ui/Findings";
import { Quantity } from "../../ui/Quantity";
import { Face } from "../../ui/face/Face";
import { mlOf, quantityText } from "../../ui/decimal";
import { markText, Syringe } from "../../ui/syringe/Syringe";
import { Caution } from "../Frame";
import { usePriming, useSyringeType } from "./Draw";
import { useProduct } from "./Plan";
import { marksOf, partOf } from "./plan/PlanFace";
import { placeText } from "./plan/place";
import { givings, groups, live, measures, plannedUnits, plungerMl, skipped, syringe, type Group } from "./record";
import { Changed } from "./treat/Changed";
import { Course } from "./treat/Course";
import { Spilt } from "./treat/Spilt";
import { giveGroup, skipGroup, undoGroup, undoSkip } from "./treat/writes";
import { useDraw, type DrawNow } from "./useDraw";
import { useVial } from "./useVial";
import type { StepProps } from "./Visit";

/** Undoable is what the newest tap can take back, for ten seconds. */
interface Undoable { readonly text: string; readonly undo: () => Promise<unknown> }

const undoFor = 10_000;

/** pedalKeys are what a foot switch or a keyboard sends for "given as planned". */
const pedalKeys = ["PageDown", "Enter"];

/** usePedal runs the act on a pedal's key, unless the key was meant for a control. */
function usePedal(act: (() => void) | undefined) {
  useEffect(() => {
    if (!act) return;
    const press = (e: KeyboardEvent) => {
      const on = e.target as HTMLElement | null;
      if (!pedalKeys.includes(e.key) || e.repeat || on?.closest("button, a, input, textarea, select, summary")) return;
      e.preventDefault();
      act();
    };
    window.addEventListener("keydown", press);
    return () => window.removeEventListener("keydown", press);
  }, [act]);
}

/** Treat is the step. */
export function Treat({ visit, layout }: StepProps) {
  const [open, setOpen] = useState<"changed" | "spilt" | null>(null);
  const [undoable, setUndoable] = useState<Undoable | null>(null);
  const product = useProduct(visit), vial = useVial(visit), { type } = useSyringeType(visit), [priming] = usePriming(visit);
  const draw = useDraw(visit, product, vial.content, type, priming).value;
  const all = live(visit.session);
  const course = groups(all);
  const next = course.find((g) => g.injections.some((i) => givings(i).length === 0));
  useEffect(() => { if (!undoable) return; const timer = setTimeout(() => setUndoable(null), undoFor); return () => clearTimeout(timer); }, [undoable]);
  const give = async () => {
    if (!next) return;
    const made = await giveGroup(visit, next, draw?.marks, vial);
    if (made) setUndoable({ text: t("treat.undo_given", { what: groupName(next) }), undo: () => undoGroup(visit, made) });
  };
  const skip = async () => {
    if (!next) return;
    const left = await skipGroup(visit, next, t("treat.skip_reason"));
    if (left.length) setUndoable({ text: t("treat.undo_skipped", { what: groupName(next) }), undo: () => undoSkip(visit, left) });
  };
  const holds = (visit.check?.findings ?? []).filter((f) => f.level === "LEVEL_HOLD" && !f.answer);
  const began = all.some((i) => givings(i).length > 0);
  const waits = visit.check !== undefined && !visit.check.may_inject && !began;
  usePedal(next && !open && !waits ? () => { void give(); } : undefined);
  return layout({
    title: t("treat.title"),
    deck: (
      <>
        {undoable && (
          <div class="undo" role="status">
            <span>{undoable.text}</span>
            <button type="button" class="button chart" onClick={() => { void undoable.undo(); setUndoable(null); }}>{t("treat.undo")}</button>
          </div>
        )}
        <button type="button" class="button" aria-expanded={open === "changed"} onClick={() => setOpen(open === "changed" ? null : "changed")}>{t("treat.changed")}</button>
        <button type="button" class="button" onClick={skip} aria-disabled={!next}>{t("treat.skip")}</button>
        <button type="button" class="button" aria-expanded={open === "spilt"} onClick={() => setOpen(open === "spilt" ? null : "spilt")}>{t("treat.spilt")}</button>
        {next && waits ? <button type="button" class="button warn great grow" onClick={() => visit.show("findings")}>{"\u25a0"} {t("treat.held")}</button>
          : next ? <button type="button" class="button primary great" onClick={give}>{t("treat.given")}<span class="sub">{groupName(next)}</span></button>
          : <button type="button" class="button primary great" onClick={() => visit.show("finish")}>{t("treat.next")}</button>}
      </>
    ),
    body: (
      <>
        {holds.length > 0 && <p class="message hold strong"><span aria-hidden="true">{"\u25a0"}</span> {t(began ? "treat.held_began" : "treat.held_more", { n: holds.length })}</p>}
        {open === "changed" && next && <Changed visit={visit} group={next} product={product} vial={vial} onClose={() => setOpen(null)} />}
        {open === "spilt" && <Spilt visit={visit} onClose={() => setOpen(null)} />}
        <div class="treat-grid">
          <div class="treat-next">
            {next ? <Next group={next} draw={draw} product={product} insulin={type?.insulin_scale ?? false} /> : <p class="message large">{t(all.length ? "treat.all_given" : "plan.empty")}</p>}
          </div>
          <div class="treat-plunger stack tight"><Plunger visit={visit} draw={draw} next={next} type={type} /></div>
          <div class="treat-face">
            <Face measures={measures(visit.session)} part={partOf(visit, all)} selected={next?.injections.find((i) => givings(i).length === 0)?.id}
              marks={marksOf([...all, ...skipped(visit.session)], new Map(all.map((i, n) => [i.id!, n + 1])), measures(visit.session))} label={t("face.label", { n: all.length })} />
          </div>
        </div>
        <Course visit={visit} course={course} next={next} marks={draw?.marks} insulin={type?.insulin_scale ?? false} />
        <Findings findings={(draw?.plan.findings ?? []).filter((f) => f.level !== "LEVEL_NOTE")} />
        <Caution text={draw?.plan.caution} />
      </>
    ),
  });
}

/** groupName is a muscle and side, the side first: it is what must not be missed. */
export const groupName = (g: Group): string => `${word("side", g.side)}, ${word("muscle", g.muscle)}`;

/** Next is what is to be given now. */
function Next({ group, draw, product, insulin }: { group: Group; draw: DrawNow | undefined; product: string; insulin: boolean }) {
  const rest = group.injections.filter((i) => givings(i).length === 0);
  return (
    <section class={`card marked next-giving ${group.side === "SIDE_LEFT" ? "left" : group.side === "SIDE_RIGHT" ? "right" : ""}`} aria-label={t("treat.now")}>
      <h2><span class="great-side">{word("side_great", group.side)}</span> {word("muscle", group.muscle)}</h2>
      <p class="product small">{product}</p>
      <ol class="stack tight">{rest.map((i) => {
        const mark = draw?.marks.get(i.id!);
        return (
          <li class="needle">
            <Quantity value={plannedUnits(i)} unit="units" size="great" />
            <span class="to-mark">{mark !== undefined ? <><span class="soft">{t("treat.to_mark")}</span><span class="mark">{markText(mark, insulin)}</span></> : t("treat.no_mark")}</span>
            <span class="soft needle-place">{placeText(i.place)}</span>
          </li>
        );
      })}</ol>
    </section>
  );
}

/** Plunger is the syringe in use, and what is left in it and in the vial. */
function Plunger({ visit, draw, next, type }: { visit: StepProps["visit"]; draw: DrawNow | undefined; next: Group | undefined; type: ReturnType<typeof useSyringeType>["type"] }) {
  const now = syringe(visit.session), at = plungerMl(visit.session);
  if (!now?.filling || at === undefined) return <p class="message caution">{t("treat.no_syringe")} <button type="button" class="button" onClick={() => visit.show("draw")}>{t("treat.to_draw")}</button></p>;
  const rest = next?.injections.filter((i) => givings(i).length === 0) ?? [];
  const until = rest.map((i) => draw?.marks.get(i.id!)).findLast((m) => m !== undefined);
  const another = until !== undefined && Number(until) > Number(at);
  return (
    <>
      <Syringe capacityMl={mlOf(now.filling.capacity_nanoliters)} graduationMl={mlOf(now.filling.graduation_nanoliters)} insulinScale={type?.insulin_scale ?? false} markMl={at} {...(until !== undefined && !another ? { nextMl: until } : {})} />
      {another && <p class="message caution">{t("treat.next_syringe")} <button type="button" class="button" onClick={() => visit.show("draw")}>{t("treat.to_draw")}</button></p>}
      <p>{t("treat.left", { syringe: quantityText(at, "mL"), vial: draw?.plan.vial?.left_ml ? quantityText(draw.plan.vial.left_ml, "mL") : t("word.none") })}{draw?.resumed ? ` ${t("treat.resumed")}` : ""}</p>
    </>
  );
}
