// The staff: who works here in which roles, a new person with her link, and a person's roles and suspension.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { AddStaffResponse, ListStaffResponse, Role, RoleAssignment, SetStaffRolesResponse, Staff } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { Field } from "../ui/Field";
import { useDoing, usePages } from "./call";
import { More, Reason, State, Trouble, useNames, type Names } from "./parts";

const allRoles: readonly Role[] = ["ROLE_INJECTOR", "ROLE_MEDICAL_LEAD", "ROLE_ASSISTANT", "ROLE_FRONT_DESK", "ROLE_AUDITOR", "ROLE_ADMINISTRATOR"];

/** StaffList is the screen. */
export function StaffList({ core }: { core: Core }) {
  const [suspended, setSuspended] = useState(false);
  const [adding, setAdding] = useState(false);
  const names = useNames(core);
  const asked = usePages<ListStaffResponse, Staff>(core, "access/ListStaff", { page_size: 200, ...(suspended ? { include_suspended: true } : {}) }, (a) => a.staff, [suspended]);
  return (
    <>
      <div class="row"><button type="button" class="button primary" aria-expanded={adding} onClick={() => setAdding(!adding)}>{t("staff.add")}</button><button type="button" class="button" aria-pressed={suspended} onClick={() => setSuspended(!suspended)}>{t("staff.suspended_too")}</button></div>
      {adding && <Add core={core} names={names} onClose={() => setAdding(false)} again={asked.again} />}
      <State asked={asked} />
      {asked.rows.map((s) => <Person key={s.id} core={core} names={names} staff={s} again={asked.again} />)}
      <More more={asked.more} busy={asked.busy} />
    </>
  );
}

/** Held is one line of roles: at a clinic, or at all of them where the clinic is "". */
type Held = { clinic: string; roles: readonly Role[]; until?: RoleAssignment["until"] };

const wire = (held: readonly Held[]): RoleAssignment[] => held.filter((h) => h.roles.length > 0).map((h) => ({ roles: [...h.roles], ...(h.clinic ? { clinic_id: h.clinic } : {}), ...(h.until ? { until: h.until } : {}) }));

function Roles({ names, held, onChange }: { names: Names; held: readonly Held[]; onChange: (held: readonly Held[]) => void }) {
  const set = (i: number, change: Held) => onChange(held.map((h, n) => (n === i ? change : h)));
  return (
    <>
      {held.map((h, i) => (
        <fieldset class="stack tight">
          <legend>{h.clinic ? names.clinic(h.clinic) : t("desk.all_clinics")}{h.until ? `, ${t("staff.until", { day: dayText(h.until) })}` : ""}</legend>
          <div class="choice">{allRoles.map((r) => <button type="button" class="button" aria-pressed={h.roles.includes(r)} onClick={() => set(i, { ...h, roles: h.roles.includes(r) ? h.roles.filter((x) => x !== r) : [...h.roles, r] })}>{word("rolename", r)}</button>)}</div>
        </fieldset>
      ))}
      <div class="row">{[["", t("desk.all_clinics")] as const, ...names.clinics].filter(([id]) => !held.some((h) => h.clinic === id)).map(([id, name]) => (
        <button type="button" class="button" onClick={() => onChange([...held, { clinic: id, roles: [] }])}>{t("staff.also_at", { clinic: name })}</button>
      ))}</div>
    </>
  );
}

function Add({ core, names, onClose, again }: { core: Core; names: Names; onClose: () => void; again: () => void }) {
  const doing = useDoing(core);
  const [name, setName] = useState("");
  const [tried, setTried] = useState(false);
  const [held, setHeld] = useState<readonly Held[]>([{ clinic: core.device.value.clinic_id, roles: [] }]);
  const [made, setMade] = useState<AddStaffResponse>();
  const add = async (e: Event) => {
    e.preventDefault();
    setTried(true);
    if (!name.trim()) return;
    const answer = await doing.run<AddStaffResponse>("access/AddStaff", { name: { full: name.trim() }, assignments: wire(held) });
    if (answer) { setMade(answer); again(); }
  };
  if (made) return (
    <section class="message stack tight" role="status"><h2>{t("staff.added", { name: made.staff?.name?.full ?? name })}</h2>
      <p>{t("staff.link", { time: momentText(made.invitation_expires_at) })}</p><p class="strong" style={{ overflowWrap: "anywhere", userSelect: "all" }}>{made.invitation_url}</p>
      <div><button type="button" class="button" onClick={onClose}>{t("desk.done")}</button></div></section>
  );
  return (
    <form class="card stack tight" onSubmit={add}><h2>{t("staff.add")}</h2>
      <Field id="staff-name" label={t("staff.name")} value={name} onInput={setName} wrong={tried && !name.trim() ? t("staff.name_missing") : undefined} />
      <Roles names={names} held={held} onChange={setHeld} />
      <Trouble trouble={doing.trouble} />
      <div class="row"><button type="submit" class="button primary" aria-disabled={doing.busy}>{doing.busy ? t("desk.doing") : t("staff.make")}</button><button type="button" class="button" onClick={onClose}>{t("desk.leave")}</button></div>
    </form>
  );
}

function Person({ core, names, staff: s, again }: { core: Core; names: Names; staff: Staff; again: () => void }) {
  const doing = useDoing(core);
  const positions = (s.positions ?? []).filter((p) => !p.ended && p.assignment);
  const [asking, setAsking] = useState<"" | "roles" | "suspend">("");
  const [held, setHeld] = useState<readonly Held[]>([]);
  const now = (): Held[] => positions.map((p) => ({ clinic: p.assignment?.clinic_id ?? "", roles: p.assignment?.roles ?? [], until: p.assignment?.until }));
  // Every change says all the roles, since those that are not named end.
  const set = async (change: object, reason: string) => { if (await doing.run<SetStaffRolesResponse>("access/SetStaffRoles", { staff_id: s.id, assignments: wire(now()), ...change, reason })) { setAsking(""); again(); } };
  return (
    <section class="card stack tight">
      <div class="row apart"><h2>{s.name?.full ?? t("desk.unnamed")}</h2>{s.suspended ? <span class="tag hold">{t("staff.is_suspended")}</span> : <span class="soft">{s.sign_in_name ? t("staff.signs_in", { name: s.sign_in_name }) : t("staff.not_yet")}</span>}</div>
      {s.suspended && <p>{s.suspended.reason}</p>}
      <ul>{positions.length === 0 ? <li class="soft">{t("staff.no_roles")}</li> : positions.map((p) => <li><span class="strong">{(p.assignment?.roles ?? []).map((r) => word("rolename", r)).join(", ")}</span>, {p.assignment?.clinic_id ? names.clinic(p.assignment.clinic_id) : t("desk.all_clinics")}{p.assignment?.until ? `, ${t("staff.until", { day: dayText(p.assignment.until) })}` : ""}</li>)}</ul>
      {(s.credentials ?? []).some((c) => !c.revoked) && <p class="soft">{t("staff.credentials", { list: (s.credentials ?? []).filter((c) => !c.revoked).map((c) => `${word("region", c.grant?.region)} (${word("credential", c.grant?.kind)})`).join(", ") })}</p>}
      <Trouble trouble={doing.trouble} />
      {!asking && <div class="row"><button type="button" class="button" onClick={() => { setHeld(now()); setAsking("roles"); }}>{t("staff.change")}<span class="only-read"> {s.name?.full}</span></button><button type="button" class={s.suspended ? "button" : "button warn"} onClick={() => setAsking("suspend")}>{t(s.suspended ? "staff.unsuspend" : "staff.suspend")}<span class="only-read"> {s.name?.full}</span></button></div>}
      {asking === "roles" && <Reason key="roles" id={`roles-${s.id}`} label={t("staff.why")} action={t("staff.save")} busy={doing.busy} onDo={(r) => set({ assignments: wire(held) }, r)} onClose={() => setAsking("")}><Roles names={names} held={held} onChange={setHeld} /></Reason>}
      {asking === "suspend" && <Reason key="suspend" id={`suspend-${s.id}`} label={t("staff.why")} action={t(s.suspended ? "staff.unsuspend" : "staff.suspend")} warn busy={doing.busy} onDo={(r) => set({ suspended: !s.suspended }, r)} onClose={() => setAsking("")} />}
    </section>
  );
}
