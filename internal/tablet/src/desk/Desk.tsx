// The desk: what is done for the whole clinic rather than for one patient, at the server. Which screens are offered follows the person's roles; the server
// decides anyway.

import type { Core } from "../core";
import type { Role } from "../messages";
import { t, word } from "../i18n";
import { Frame, type RailItem } from "../screens/Frame";
import { go, type DeskScreen } from "../screens/route";
import { Audit } from "./Audit";
import { DayClose } from "./DayClose";
import { Devices } from "./Devices";
import { Editions } from "./Editions";
import { Figures } from "./Figures";
import { HeldEdits } from "./HeldEdits";
import { Lots } from "./Lots";
import { Orders } from "./Orders";
import { useRoles } from "./parts";
import { Reviews } from "./Reviews";
import { StaffList } from "./StaffList";

const injector = "ROLE_INJECTOR", lead = "ROLE_MEDICAL_LEAD", assistant = "ROLE_ASSISTANT", desk = "ROLE_FRONT_DESK", auditor = "ROLE_AUDITOR", admin = "ROLE_ADMINISTRATOR";

/** screens are those of the desk, in the order of the day, and the roles that they are offered to. */
const screens: readonly { at: DeskScreen; roles: readonly Role[]; Show: (props: { core: Core }) => preact.JSX.Element }[] = [
  { at: "close", roles: [injector, lead, assistant], Show: DayClose },
  { at: "reviews", roles: [injector, lead, assistant, desk], Show: Reviews },
  { at: "lot", roles: [injector, lead], Show: Lots },
  { at: "held", roles: [lead], Show: HeldEdits },
  { at: "orders", roles: [injector, lead, assistant], Show: Orders },
  { at: "figures", roles: [injector, lead, auditor], Show: Figures },
  { at: "editions", roles: [injector, lead, assistant, auditor, admin], Show: Editions },
  { at: "staff", roles: [admin], Show: StaffList },
  { at: "devices", roles: [admin], Show: Devices },
  { at: "audit", roles: [lead, auditor], Show: Audit },
];

/** Desk shows one of its screens: the one asked for, or the first that is offered. */
export function Desk({ core, at }: { core: Core; at: DeskScreen | undefined }) {
  const roles = useRoles(core);
  const offered = screens.filter((s) => s.roles.some((r) => roles.includes(r)));
  const now = offered.find((s) => s.at === at) ?? offered[0];
  const rail: RailItem[] = [
    { label: t("desk.back"), current: false, onGo: () => go({ screen: "day" }) },
    ...offered.map((s) => ({ label: word("desk", s.at), current: s === now, onGo: () => go({ screen: "desk", at: s.at }) })),
  ];
  return (
    <Frame core={core} rail={rail} title={now ? word("desk", now.at) : word("screen", "desk")}
      head={<><strong>{core.device.value.organisation_name}</strong><span class="soft">{t("desk.person", { name: core.person.value.name })}</span></>}>
      {now ? <now.Show key={now.at} core={core} /> : <p class="message">{t("desk.nothing")}</p>}
    </Frame>
  );
}
