// Findings: a word, a shape and a sentence; colour comes last. Each opens to its figures, its source, and for a hold who may lift it and how.

import { useState } from "preact/hooks";
import type { Citation, Finding, Level, Role } from "../messages";
import { t, word } from "../i18n";

/** Lift says how a hold is lifted or a caution answered here; absent where that is not done on this screen. */
export interface Answering {
  /** The roles of the person on the tablet. */
  readonly roles: readonly Role[];
  readonly onAnswer: (finding: Finding, reason: string) => void;
}

interface FindingsProps {
  readonly findings: readonly Finding[];
  readonly answering?: Answering;
  /** Said when there is none; it never says that all is clear. */
  readonly none?: string;
}

const marks: Partial<Record<Level, string>> = { LEVEL_HOLD: "\u25a0", LEVEL_CAUTION: "\u25b2", LEVEL_NOTE: "\u25cb" };
const classes: Partial<Record<Level, string>> = { LEVEL_HOLD: "hold", LEVEL_CAUTION: "caution", LEVEL_NOTE: "note" };

/** levelClass is the class of a level's look. */
export const levelClass = (level: Level | undefined): string => classes[level ?? "LEVEL_NOTE"] ?? "note";

/** Findings lists findings in the order in which the core gives them: holds first. */
export function Findings({ findings, answering, none }: FindingsProps) {
  if (findings.length === 0) return none ? <p class="soft">{none}</p> : null;
  return <ul class="findings">{findings.map((f) => <FindingItem key={f.finding_id || `${f.code}${f.text}`} finding={f} answering={answering} />)}</ul>;
}

/** count is how many findings of each level there are and still stand. */
export function count(findings: readonly Finding[]): Record<"hold" | "caution" | "note", number> {
  const open = findings.filter((f) => !f.answer);
  const of = (level: Level) => open.filter((f) => f.level === level).length;
  return { hold: of("LEVEL_HOLD"), caution: of("LEVEL_CAUTION"), note: of("LEVEL_NOTE") };
}

function FindingItem({ finding: f, answering }: { finding: Finding; answering: Answering | undefined }) {
  return (
    <li class={`finding ${levelClass(f.level)}${f.answer ? " answered" : ""}`}>
      <details>
        <summary>
          <span class="finding-level"><span aria-hidden="true">{marks[f.level ?? "LEVEL_NOTE"]}</span> {word("level", f.level)}</span>
          <span class="finding-text">{f.text}</span>
          {f.answer && <span class="tag">{word("decision", f.answer.decision)}</span>}
        </summary>
        <div class="finding-more stack tight">
          <Figures figures={f.figures ?? {}} />
          <Cited source={f.source} />
          {f.level === "LEVEL_HOLD" && <p class="strong">{whoLifts(f.liftable_by ?? [])}</p>}
          {f.answer && <p>{t("finding.answered", { reason: f.answer.reason || t("finding.no_reason") })}</p>}
          <p class="soft small">{t("finding.code", { code: f.code ?? "" })}</p>
          {answering && !f.answer && <Answer finding={f} answering={answering} />}
        </div>
      </details>
    </li>
  );
}

function whoLifts(roles: readonly Role[]): string {
  if (roles.length === 0) return t("finding.nobody_lifts");
  return t("finding.lifted_by", { roles: roles.map((r) => word("role", r)).join(t("finding.or")) });
}

function Figures({ figures }: { figures: { [name: string]: string } }) {
  const names = Object.keys(figures).sort();
  if (names.length === 0) return null;
  return (
    <dl class="figures">
      {names.map((n) => <div><dt>{n.replaceAll("_", " ")}</dt><dd class="strong nowrap">{figures[n]}</dd></div>)}
    </dl>
  );
}

/** Cited names where a rule comes from. */
export function Cited({ source }: { source: Citation | undefined }) {
  if (!source) return <p class="soft">{t("finding.from_record")}</p>;
  return (
    <div class="soft small">
      <p>{word("obtained", source.obtained)}{source.section ? `, ${source.section}` : ""}{source.remark ? `. ${source.remark}` : ""}</p>
      <ul>{(source.sources ?? []).map((s) => <li>{[s.title, s.issuer, s.year].filter(Boolean).join(", ")} ({s.code})</li>)}</ul>
    </div>
  );
}

/** Answer takes the reason that lifts a hold or accepts a caution. The core decides whether the answer stands. */
function Answer({ finding: f, answering }: { finding: Finding; answering: Answering }) {
  const [reason, setReason] = useState("");
  const hold = f.level === "LEVEL_HOLD";
  if (f.level === "LEVEL_NOTE") return null;
  if (hold && !(f.liftable_by ?? []).some((r) => answering.roles.includes(r))) return <p>{t("finding.not_you")}</p>;
  const id = `reason-${f.finding_id}`;
  return (
    <form class="stack tight" onSubmit={(e) => { e.preventDefault(); if (reason.trim() || !hold) answering.onAnswer(f, reason.trim()); }}>
      <div class="field">
        <label for={id}>{t(hold ? "finding.why_lift" : "finding.why_accept")}</label>
        <input id={id} value={reason} required={hold} onInput={(e) => setReason(e.currentTarget.value)} />
      </div>
      <button class="button chart">{t(hold ? "finding.lift" : "finding.accept")}</button>
    </form>
  );
}
