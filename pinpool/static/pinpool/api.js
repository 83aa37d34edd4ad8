// Calls to the API of the site that served the page.

const root = document.documentElement
const told = document.querySelector('meta[name="csrf"]')
let csrf = told?.content ?? ""

/** A refusal: a problem document (RFC 9457), or what came in its place. */
export class Problem extends Error {
  constructor(status, document, retryAfter) {
    super(document.detail ?? `The service answered ${status}.`)
    this.status = status
    this.title = document.title ?? ""
    this.detail = this.message
    this.errors = document.errors ?? []
    this.requestId = document.request_id ?? ""
    this.retryAfter = retryAfter // seconds, or null
  }
}

/** The service could not be reached. */
export class Away extends Error {}

/**
 * One call. `path` is below the API's root, or absolute; `body` goes as JSON, `form` (FormData) as it is.
 * Gives {status, data, etag}; throws Problem or Away, or AbortError where `signal` says so. With `sameSession` it is
 * refused (`isStale`) where somebody signed in since the last `renewToken`.
 */
export async function call(method, path, { body, form, etag, signal, headers = {}, sameSession = false } = {}) {
  const url = path.startsWith("/") ? path : root.dataset.api + path
  const send = () => fetch(url, {
    method, signal, credentials: "same-origin",
    body: form ?? (body === undefined ? undefined : JSON.stringify(body)),
    headers: {
      Accept: "application/json",
      ...(body === undefined ? {} : { "Content-Type": "application/json" }),
      ...(method === "GET" ? {} : { [told?.dataset.header ?? "X-CSRFToken"]: csrf }),
      ...(etag ? { "If-Match": etag } : {}),
      ...headers,
    },
  })
  let response = await reach(send)
  let answer = await read(response)
  if (!sameSession && isStale({ status: response.status, detail: answer?.detail })) {
    await renewToken(signal)
    response = await reach(send)
    answer = await read(response)
  }
  if (response.ok || response.status === 304) return { status: response.status, data: answer, etag: response.headers.get("ETag") }
  const wait = Number.parseInt(response.headers.get("Retry-After") ?? "", 10)
  throw new Problem(response.status, answer ?? {}, Number.isFinite(wait) ? wait : null)
}

/** Take the token of the session of now; signing in makes it stale. */
export async function renewToken(signal) {
  const fresh = await read(await reach(() => fetch(`${root.dataset.api}accounts/login/`, { credentials: "same-origin", signal })))
  csrf = fresh?.csrf_token ?? csrf
}

/** Whether a refusal says that the token is not that of the session of now. */
export const isStale = ({ status, detail }) => status === 403 && /CSRF/i.test(detail ?? "")

async function reach(send) {
  try {
    return await send()
  } catch (fault) {
    if (fault.name === "AbortError") throw fault
    throw new Away("The service cannot be reached. Nothing was sent; try again when there is signal.")
  }
}

async function read(response) {
  const empty = [204, 304].includes(response.status)
  if (empty || !(response.headers.get("Content-Type") ?? "").includes("json")) return null
  try {
    return await response.json()
  } catch (fault) {
    if (fault.name === "AbortError") throw fault
    throw new Away("The answer was lost on its way; look whether it was done before sending it again.")
  }
}
