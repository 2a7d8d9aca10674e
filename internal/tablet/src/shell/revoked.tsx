// A tablet that was revoked: what could be read is gone, and what the server may not have is here, sealed.

import { useState } from "preact/hooks";
import { handInSealed, startOver } from "../boot";
import type { HandedIn } from "../handin";
import type { Identity } from "../identity";
import { Form, Page } from "./page";

export function Revoked({ identity, edits }: { identity: Identity; edits: number }) {
  const [done, setDone] = useState<HandedIn>();
  return (
    <Page title="This tablet was revoked" name="revoked">
      <p class="soft">{identity.organisation_name}, {identity.label}</p>
      <p role="alert">
        An administrator of your clinic ended the enrolment of this tablet. Every record that could be read on it was removed. What had reached the clinic
        server is safe there.
      </p>
      {edits > 0 && !done && <Unsent edits={edits} onDone={setDone} />}
      {done && <Done done={done} />}
      {(edits === 0 || done) && (
        <button type="button" class="button" onClick={() => void startOver()}>Enrol as a new tablet</button>
      )}
    </Page>
  );
}

function Unsent({ edits, onDone }: { edits: number; onDone: (done: HandedIn) => void }) {
  return (
    <>
      <p>
        <strong>{edits === 1 ? "1 change" : `${edits} changes`}</strong> that the server may not have {edits === 1 ? "is" : "are"} still here, sealed. Nobody can
        read what is sealed on this tablet; only the clinic server can open it. Hand it in, and a person at the clinic decides what becomes of it.
      </p>
      <Form action="Hand it in" busyText="Handing in" run={async () => onDone(await handInSealed())}>
        <p>This needs the clinic server, and no sign-in.</p>
      </Form>
    </>
  );
}

function Done({ done: { held, known, kept } }: { done: HandedIn }) {
  return (
    <div class="message" role="status">
      <p>The clinic server has everything that was sealed here, and nothing of it is left on this tablet.</p>
      <ul>
        {held > 0 && <li>{held} for a person at the clinic to look at</li>}
        {known > 0 && <li>{known} that the server had before</li>}
        {kept > 0 && <li>{kept} that the server keeps sealed, because {kept === 1 ? "it does" : "they do"} not follow what it has</li>}
      </ul>
    </div>
  );
}
