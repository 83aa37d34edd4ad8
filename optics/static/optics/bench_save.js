/* A member saves what is on the bench: as a camera of a club, or as a design. The API validates, as for everybody. */
import { Away, Problem, call } from "../pinpool/api.js";
import { showFaults } from "./fields.js";

const section = document.querySelector("#save");

/** Offer saving to those who are signed in; `onBench()` gives `{body, plan}` of what is shown, or null. */
export async function offerSaving(onBench, boxForm) {
  if (!section) return;
  const clubs = (await call("GET", "clubs/?page_size=200")).data.results;
  if (!clubs.length) return;
  const choice = section.querySelector("#club");
  choice.replaceChildren(...clubs.map((club) => new Option(club.name, club.slug)));
  section.hidden = false;
  section.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    save(event.target, event.submitter?.value ?? "cameras", onBench(), boxForm);
  });
}

async function save(form, what, shown, boxForm) {
  const [problem, done] = form.querySelectorAll("[role]");
  problem.hidden = done.hidden = true;
  if (!shown) {
    tell(problem, "Fill in the box first; only what could be reckoned can be saved.");
    return;
  }
  const club = form.querySelector("#club").value;
  try {
    const { data } = await call("POST", `clubs/${club}/${what}/`, { body: bodyFor(what, form, shown) });
    told(done, what, club, data);
  } catch (fault) {
    if (!(fault instanceof Problem || fault instanceof Away)) throw fault;
    const ours = (fault.errors ?? []).map((each) => ({ ...each, pointer: each.pointer.replace(/^\/spec/, "") }));
    const left = showFaults(boxForm, showFaults(form, ours));
    tell(problem, [fault.message, ...left.map((each) => each.detail)].join(" "));
  }
}

function bodyFor(what, form, { body, plan }) {
  const { film_plane, wall_thickness } = body;
  const hole = { ...body.hole, diameter: body.hole?.diameter ?? plan.hole_diameter };
  const name = form.elements.name.value.trim();
  if (what === "designs") {
    delete hole.uncertainty;
    return { name, film_plane, hole, wall_thickness };
  }
  const code = form.elements.code.value.trim();
  return { name, ...(code && { code }), spec: { film_plane, hole } };
}

function told(done, what, club, data) {
  const { cameraPage, designsPage } = section.dataset;
  const [text, page] = what === "designs"
    ? [`Saved as the design “${data.name}”. `, designsPage && `${designsPage}${data.id}/`]
    : [`Saved as camera ${data.code}. `, cameraPage.replace("CODE", data.code)];
  tell(done, text);
  if (!page) return; // a site without the club's pages
  const link = Object.assign(document.createElement("a"), { textContent: "Open its page" });
  link.href = page.replace("CLUB", club);
  done.append(link);
}

function tell(element, text) {
  element.textContent = text;
  element.hidden = false;
}
