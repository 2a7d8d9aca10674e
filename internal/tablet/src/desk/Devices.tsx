// The devices: how far each is with the server, a code for a new one, and a lost one revoked, with what it held.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { CreateEnrolmentCodeResponse, DeviceStatus, ListDevicesResponse, RevokeDeviceResponse } from "../messages";
import { momentText, t, word } from "../i18n";
import { useDoing, usePages } from "./call";
import { More, Reason, Select, State, Trouble, useNames, type Names } from "./parts";

/** Devices is the screen. */
export function Devices({ core }: { core: Core }) {
  const [revoked, setRevoked] = useState(false);
  const names = useNames(core);
  const asked = usePages<ListDevicesResponse, DeviceStatus>(core, "access/ListDevices", { page_size: 200, ...(revoked ? { include_revoked: true } : {}) }, (a) => a.devices, [revoked]);
  return (
    <>
      <NewCode core={core} names={names} />
      <div><button type="button" class="button" aria-pressed={revoked} onClick={() => setRevoked(!revoked)}>{t("devices.revoked_too")}</button></div>
      <State asked={asked} />
      {asked.rows.map((d) => <One key={d.device?.id} core={core} names={names} status={d} again={asked.again} />)}
      <More more={asked.more} busy={asked.busy} />
    </>
  );
}

function NewCode({ core, names }: { core: Core; names: Names }) {
  const doing = useDoing(core);
  const [clinic, setClinic] = useState(core.device.value.clinic_id);
  const [made, setMade] = useState<CreateEnrolmentCodeResponse>();
  const make = async () => setMade(await doing.run<CreateEnrolmentCodeResponse>("access/CreateEnrolmentCode", { clinic_id: clinic, kind: "DEVICE_KIND_TABLET" }));
  return (
    <section class="card stack tight"><h2>{t("devices.new")}</h2>
      <Select id="device-clinic" label={t("desk.clinic")} value={clinic} options={names.clinics} onPick={(c) => { setClinic(c); setMade(undefined); }} />
      <Trouble trouble={doing.trouble} />
      {made && <div class="message stack tight" role="status"><p>{t("devices.code_until", { clinic: names.clinic(clinic), time: momentText(made.expires_at) })}</p>
        <p class="ending" style={{ fontVariantNumeric: "tabular-nums", overflowWrap: "anywhere", userSelect: "all" }}>{made.code}</p>{made.url && <p style={{ overflowWrap: "anywhere", userSelect: "all" }}>{t("devices.or_open", { url: made.url })}</p>}</div>}
      <div><button type="button" class={made ? "button" : "button primary"} aria-disabled={doing.busy} onClick={make}>{t(made ? "devices.another" : "devices.make")}</button></div>
    </section>
  );
}

const some = (n: string | number | undefined) => Number(n ?? 0);

function One({ core, names, status: d, again }: { core: Core; names: Names; status: DeviceStatus; again: () => void }) {
  const doing = useDoing(core);
  const [asking, setAsking] = useState(false);
  const gone = d.device?.revoked, label = d.device?.label ?? t("desk.unnamed");
  const revoke = async (reason: string) => { if (await doing.run<RevokeDeviceResponse>("access/RevokeDevice", { device_id: d.device?.id, reason })) { setAsking(false); again(); } };
  return (
    <section class="card stack tight">
      <div class="row apart"><h2>{label}</h2>{gone ? <span class="tag hold">{t("devices.is_revoked")}</span> : <span class="soft">{d.device?.id === core.device.value.device_id ? t("devices.this") : word("devicekind", d.device?.kind)}</span>}</div>
      {gone && <p>{t("devices.revoked_for", { time: momentText(gone.at), name: names.staff(gone.by), reason: gone.reason ?? "" })}</p>}
      <dl class="pairs">
        <dt>{t("desk.clinic")}</dt><dd>{names.clinic(d.device?.home_clinic_id)}</dd>
        <dt>{t("tablets.last")}</dt><dd>{d.last_exchange_at ? momentText(d.last_exchange_at) : t("tablets.never")}</dd>
        <dt>{t("devices.unsent")}</dt><dd>{some(d.unsent_edits)}{d.oldest_unsent_at ? `, ${t("devices.oldest", { time: momentText(d.oldest_unsent_at) })}` : ""}</dd>
        <dt>{t("close.held")}</dt><dd>{some(d.held_edits)}</dd>
        <dt>{t("devices.holds")}</dt><dd>{d.holds_all_patients ? t("devices.holds_all") : t("devices.holds_n", { n: some(d.booked_patients) })}</dd>
        {some(d.kept_sealed) > 0 && <><dt>{t("devices.sealed")}</dt><dd>{(d.kept_sealed_edits ?? []).length ? <ul>{(d.kept_sealed_edits ?? []).map((k) => <li>{momentText(k.received_at)}, {word("reason", k.reason)}</li>)}</ul> : some(d.kept_sealed)}</dd></>}
        <dt>{t("devices.version")}</dt><dd>{d.client_version || t("desk.not_known")}</dd>
        <dt>{t("devices.clock")}</dt><dd>{t("devices.clock_off", { seconds: Math.round(some(d.clock_offset_ms) / 1000) })}</dd>
      </dl>
      <Trouble trouble={doing.trouble} />
      {!gone && !asking && <div><button type="button" class="button warn" onClick={() => setAsking(true)}>{t("devices.revoke")}<span class="only-read"> {label}</span></button></div>}
      {asking && !gone && <Reason id={`revoke-${d.device?.id}`} label={t("devices.why")} hint={t("devices.revoke_means")} action={t("devices.revoke_now", { label })} warn busy={doing.busy} onDo={revoke} onClose={() => setAsking(false)} />}
    </section>
  );
}
