// Enrolment: a one-time code makes this browser a tablet of the clinic.

import { useState } from "preact/hooks";
import { enrolBy } from "../boot";
import { Form, Input, Page } from "./page";

/** What a tablet holds unless somebody decides otherwise: the patients that it needs, not the whole organisation. */
const holdsBooked = true;

export function Enrol({ code }: { code: string }) {
  const [typed, setTyped] = useState(code);
  const [label, setLabel] = useState("");
  const [limit, setLimit] = useState(holdsBooked);
  return (
    <Page title="Make this a tablet of your clinic" name="enrol">
      <p>An administrator makes a code at her screen. It works once and for ten minutes.</p>
      <Form action="Enrol this tablet" busyText="Enrolling" run={() => enrolBy(typed.trim(), label.trim() || "Tablet", limit)}>
        <Input id="code" label="Code" hint="Sixteen letters and digits, with or without hyphens" value={typed} onInput={setTyped} />
        <Input id="label" label="What to call this tablet" hint="Such as Room 2" value={label} onInput={setLabel} />
        <label class="row">
          <input id="limit" type="checkbox" checked={limit} onChange={(e) => setLimit(e.currentTarget.checked)} />
          <span>Hold whole only the patients who are booked, asked for or charted here. Of all others it knows names, alerts and last treatments.</span>
        </label>
      </Form>
    </Page>
  );
}
