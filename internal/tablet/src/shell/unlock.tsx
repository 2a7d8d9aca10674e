// Opening the tablet: the first sign-in, unlocking, the lock of the screen, and handing over.

import { useEffect, useState } from "preact/hooks";
import { byPin, firstPerson, handOver, hasPin, peopleHere, setPin, signInAs, signOut, unlock, WrongPassphrase } from "../boot";
import type { Core } from "../core";
import type { Identity } from "../identity";
import type { Wrap } from "../vault";
import { Form, Input, Page } from "./page";

/** SignIn is the first of a tablet: the server must answer. */
export function SignIn({ identity }: { identity: Identity }) {
  const [name, setName] = useState("");
  const [password, setPassword] = useState("");
  return (
    <Page title="Sign in" name="sign_in">
      <Whose identity={identity} />
      <p>The first sign-in needs the clinic server. From then on your password opens this tablet without a signal, too.</p>
      <Form action="Sign in" busyText="Signing in" run={() => firstPerson(name.trim(), password)}>
        <Input id="name" label="Sign-in name" value={name} onInput={setName} autocomplete="username" />
        <Input id="password" label="Password" type="password" value={password} onInput={setPassword} autocomplete="current-password" />
      </Form>
    </Page>
  );
}

function Whose({ identity }: { identity: Identity }) {
  return (
    <p class="soft">
      {identity.organisation_name}, {identity.label}. Key of this tablet: <span class="nowrap">{identity.key_fingerprint}</span>
    </p>
  );
}

/** passphrase does something with a passphrase, and says in words that it was another. */
async function passphrase(what: () => Promise<void>): Promise<void> {
  try {
    await what();
  } catch (cause) {
    throw cause instanceof WrongPassphrase ? new Error("That is not the password that opens this tablet. What you typed stays; try again.") : cause;
  }
}

/** Unlock opens a tablet that was started. */
export function Unlock({ identity, people }: { identity: Identity; people: Wrap[] }) {
  const [who, setWho] = useState(people.length === 1 ? people[0] : undefined);
  const [typed, setTyped] = useState("");
  return (
    <Page title={who ? who.name : "Who are you?"} name="unlock">
      <Whose identity={identity} />
      <People people={people} who={who} onChoose={setWho} />
      {who && (
        <Form action="Open" busyText="Opening" run={() => passphrase(() => unlock(who, typed))}>
          <Input id="password" label="Password" type="password" value={typed} onInput={setTyped} autocomplete="current-password" />
        </Form>
      )}
    </Page>
  );
}

function People({ people, who, onChoose }: { people: Wrap[]; who: Wrap | undefined; onChoose: (w: Wrap) => void }) {
  return (
    <div class="choice" role="group" aria-label="People of this tablet">
      {people.map((p) => (
        <button key={p.staff_id} type="button" class="button chart" aria-pressed={p.staff_id === who?.staff_id} onClick={() => onChoose(p)}>{p.name}</button>
      ))}
    </div>
  );
}

/** Lock covers the screen. What is half typed stays beneath it. */
export function Lock({ core }: { core: Core }) {
  const [people, setPeople] = useState<Wrap[]>([]);
  const [who, setWho] = useState<Wrap>();
  const [other, setOther] = useState(false);
  useEffect(() => {
    void peopleHere().then((all) => {
      setPeople(all);
      setWho(all.find((p) => p.staff_id === core.person.value.staff_id));
    });
  }, []);
  return (
    <Page title="Locked" name="lock">
      <People people={people} who={other ? undefined : who} onChoose={(w) => { setWho(w); setOther(false); }} />
      <button type="button" class="button quiet" aria-pressed={other} onClick={() => setOther(true)}>Someone else</button>
      {other ? <Other /> : who && <><Open key={who.staff_id} who={who} /><SetPin key={`pin-${who.staff_id}`} who={who} /></>}
      <SignOut core={core} />
    </Page>
  );
}

function Open({ who }: { who: Wrap }) {
  const [typed, setTyped] = useState("");
  const pin = hasPin(who.staff_id);
  const run = async () => {
    if (!pin) return passphrase(() => handOver(who, typed));
    if (!(await byPin(who, typed))) throw new Error("That is not the PIN. After five wrong ones only the password opens.");
  };
  return (
    <Form action="Open" busyText="Opening" run={run}>
      <Input
        id="password" label={pin ? `PIN of ${who.name}` : `Password of ${who.name}`} type="password" inputMode={pin ? "numeric" : "text"} value={typed}
        onInput={setTyped} autocomplete={pin ? "off" : "current-password"}
      />
    </Form>
  );
}

/** Other signs in somebody who was not on this tablet yet, or whose sign-in ended. */
function Other() {
  const [name, setName] = useState("");
  const [password, setPassword] = useState("");
  return (
    <Form action="Sign in" busyText="Signing in" run={() => signInAs(name.trim(), password)}>
      <p>A first sign-in on this tablet needs the clinic server.</p>
      <Input id="name" label="Sign-in name" value={name} onInput={setName} autocomplete="username" />
      <Input id="password" label="Password" type="password" value={password} onInput={setPassword} autocomplete="current-password" />
    </Form>
  );
}

/** SignOut signs out whoever works, and says before what has not reached the server. */
function SignOut({ core }: { core: Core }) {
  const { unsent, busy, away } = core.sync.value;
  const name = core.person.value.name;
  return (
    <details>
      <summary class="button quiet">Sign out {name}</summary>
      <div class="card stack" data-sign-out>
        {unsent === 0 ? <p>Everything made on this tablet is on the clinic server.</p> : <Unsent unsent={unsent} away={away} />}
        {unsent > 0 && <button type="button" class="button primary" aria-disabled={busy} onClick={() => core.syncNow()}>{busy ? "Sending" : "Send it now"}</button>}
        <button type="button" class="button" onClick={() => void signOut()}>{unsent > 0 ? "Leave it here, and sign out" : "Sign out"}</button>
      </div>
    </details>
  );
}

function Unsent({ unsent, away }: { unsent: number; away: boolean }) {
  return (
    <p class="message caution">
      {unsent === 1 ? "1 change has" : `${unsent} changes have`} not reached the clinic server. {away && "The server does not answer. "}Left here, what was made
      stays on this tablet, encrypted, and sealed for the server; it is sent after the next sign-in.
    </p>
  );
}

/** SetPin sets a PIN, for whoever gives her password with it. */
function SetPin({ who }: { who: Wrap }) {
  const [typed, setTyped] = useState("");
  const [pin, set] = useState("");
  const run = async () => {
    if (!/^[0-9]{6,12}$/.test(pin)) throw new Error("A PIN has six to twelve digits.");
    await passphrase(() => handOver(who, typed));
    await setPin(pin);
  };
  return (
    <details>
      <summary class="button quiet">Set a PIN for {who.name}</summary>
      <Form action="Set the PIN and open" busyText="Setting" run={run}>
        <p>A PIN opens a locked screen. After a restart only the password opens.</p>
        <Input id="pin-password" label="Password" type="password" value={typed} onInput={setTyped} autocomplete="current-password" />
        <Input id="pin" label="PIN" hint="Six to twelve digits" type="password" inputMode="numeric" value={pin} onInput={set} />
      </Form>
    </details>
  );
}
