// The call list of a recalled lot: one line a person, what was tried, and whether she was reached. A call that was noted by mistake is undone with a reason.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { Call, ListCallsResponse, NoteCallResponse, UndoCallResponse } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { Choice } from "../ui/Choice";
import { useDoing, usePages, type Doing } from "./call";
import { More, Reason, State, Trouble, useNames, type Names } from "./parts";

const ways = ["telephone", "mail", "letter", "in_person"] as const;
type Way = (typeof ways)[number];

/** Calls is the list. */
export function Calls({ core, lot }: { core: Core; lot: string }) {
  const [openOnly, setOpenOnly] = useState(false);
  const asked = usePages<ListCallsResponse, Call>(core, "trace/ListCalls", { lot_id: lot, page_size: 200, ...(openOnly ? { open_only: true } : {}) }, (a) => a.calls, [lot, openOnly]);
  const names = useNames(core);
  const doing = useDoing(core);
  return (
    <section class="stack tight"><h2>{t("calls.title")}</h2>
      <State asked={asked} />
      {asked.value && <p class="large strong">{t("calls.reached", { reached: asked.value.reached ?? 0, people: asked.value.people ?? 0 })}</p>}
      <div><button type="button" class="button" aria-pressed={openOnly} onClick={() => setOpenOnly(!openOnly)}>{t("calls.open_only")}</button></div>
      <Trouble trouble={doing.trouble} />
      <ol class="rows">{asked.rows.map((c) => <li key={c.patient_id}><Person call={c} lot={lot} names={names} doing={doing} again={asked.again} /></li>)}</ol>
      {asked.value && asked.rows.length === 0 && <p class="soft">{t(openOnly ? "calls.all_reached" : "calls.none")}</p>}
      <More more={asked.more} busy={asked.busy} />
    </section>
  );
}

interface PersonProps {
  readonly call: Call;
  readonly lot: string;
  readonly names: Names;
  readonly doing: Doing;
  readonly again: () => void;
}

function Person({ call: c, lot, names, doing, again }: PersonProps) {
  const [noting, setNoting] = useState(false);
  const [undoing, setUndoing] = useState("");
  const undo = async (contact_id: string, reason: string) => { if (await doing.run<UndoCallResponse>("trace/UndoCall", { patient_id: c.patient_id, contact_id, reason })) { setUndoing(""); again(); } };
  return (
    <div class="card stack tight">
      <div class="row apart">
        <h3 class="large">{c.name?.full ?? t("patient.unknown")}</h3>
        <span class={c.reached ? "tag given" : "tag caution"}>{c.deceased ? t("calls.deceased") : c.reached ? `\u2713 ${t("calls.is_reached")}` : `\u25b2 ${t("calls.not_reached")}`}</span>
      </div>
      <p><span class="strong">{[c.contact?.phone, c.contact?.email].filter(Boolean).join(", ") || t("calls.no_contact")}</span> <span class="soft">{t("calls.had", { n: c.sessions ?? 0, day: dayText(c.last_on), clinics: (c.clinic_ids ?? []).map(names.clinic).join(", ") })}{c.language ? `, ${t("calls.language", { code: c.language })}` : ""}</span></p>
      <ul class="stack tight">{(c.attempts ?? []).map((m) => (
        <li class="stack tight">
          <span class="row apart">
            <span>{m.undone ? <s>{m.attempt?.result}</s> : m.attempt?.result} <span class="soft">{[word("way", m.attempt?.way), momentText(m.attempt?.made?.at), names.staff(m.attempt?.made?.by)].join(", ")}{m.undone ? `. ${t("calls.undone", { reason: m.undone.reason ?? "" })}` : ""}</span></span>
            {!m.undone && undoing !== m.id && <button type="button" class="button" onClick={() => setUndoing(m.id ?? "")}>{t("calls.undo")}</button>}
          </span>
          {undoing === m.id && <Reason id={`undo-${m.id}`} label={t("calls.why_undo")} action={t("calls.undo")} busy={doing.busy} onDo={(r) => undo(m.id ?? "", r)} onClose={() => setUndoing("")} />}
        </li>
      ))}</ul>
      {noting ? <Note call={c} lot={lot} doing={doing} onClose={() => setNoting(false)} again={again} /> : <div><button type="button" class="button" onClick={() => setNoting(true)}>{t("calls.note")}<span class="only-read"> {c.name?.full}</span></button></div>}
    </div>
  );
}

function Note({ call: c, lot, doing, onClose, again }: Omit<PersonProps, "names"> & { onClose: () => void }) {
  const [way, setWay] = useState<Way>("telephone");
  const [reached, setReached] = useState<"yes" | "no">("no");
  const note = async (result: string) => { if (await doing.run<NoteCallResponse>("trace/NoteCall", { patient_id: c.patient_id, lot_id: lot, way, result, reached: reached === "yes" })) { onClose(); again(); } };
  return (
    <Reason id={`note-${c.patient_id}`} label={t("calls.result")} hint={t("calls.result_hint")} action={t("calls.save")} busy={doing.busy} onDo={note} onClose={onClose}>
      <Choice legend={t("calls.way")} options={ways.map((value) => ({ value, label: word("way", value) }))} value={way} onPick={setWay} />
      <Choice legend={t("calls.was_reached")} options={[{ value: "no", label: t("desk.no") }, { value: "yes", label: t("desk.yes") }]} value={reached} onPick={setReached} />
    </Reason>
  );
}
