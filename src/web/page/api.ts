import type { KnownNotice } from '../../notices.ts';
import type {
  BurnedAgain,
  BurnedCard,
  BurnedMonth,
  CaptureCard,
  ChartCard,
  ChartMade,
  ChartRequestJson,
  ComparisonView,
  ErrorJson,
  FormAskJson,
  FormFieldJson,
  FormKindJson,
  JobCard,
  OrderAhead,
  OrderView,
  PhotoSettings,
  PredictionJson,
  PreviewRequestJson,
  ProfileUses,
  ProfileView,
  Reading,
  ReadingRequest,
  ReadListView,
  RestableLine,
  ShopFacts,
  StartView,
} from '../protocol.ts';

/** A problem that a person is told of: what was found, and what to do. */
export class PageError extends Error {
  readonly code: string;
  readonly hint: string;

  constructor({ code, message, hint }: ErrorJson['error']) {
    super(message);
    this.name = 'PageError';
    this.code = code;
    this.hint = hint;
  }
}

const UNREACHABLE = {
  code: 'offline',
  message: 'Tonewright’s server does not answer.',
  hint: 'Open Tonewright again on this computer; the page then goes on by itself.',
} as const;

async function ask(path: string, init: RequestInit = {}): Promise<Response> {
  let answer: Response;
  try {
    answer = await fetch(path, init);
  } catch (error) {
    if (init.signal?.aborted) throw error;
    throw new PageError(UNREACHABLE);
  }
  if (answer.ok) return answer;
  const body = (await answer.json().catch(() => undefined)) as ErrorJson | undefined;
  throw new PageError(
    body?.error ?? { code: 'bug', message: `The server answered ${answer.status}.`, hint: 'Reload the page.' },
  );
}

async function askJson<T>(path: string, init?: RequestInit): Promise<T> {
  return (await ask(path, init)).json() as Promise<T>;
}

const send = (method: string, body: unknown, signal?: AbortSignal): RequestInit => ({
  method,
  body: JSON.stringify(body),
  headers: { 'content-type': 'application/json' },
  ...(signal ? { signal } : {}),
});

export const enter = (token: string) => ask('/api/enter', { method: 'POST', body: token });
export const getShop = () => askJson<ShopFacts>('/api/shop');
export const getStart = () => askJson<StartView>('/api/start');
export const getJob = (id: string) => askJson<JobCard>(`/api/jobs/${id}`);
export const setPhotoSettings = (id: string, wish: PhotoSettings) =>
  askJson<JobCard>(`/api/jobs/${id}`, send('PUT', wish));
/** A change of a wish or a piece; it arrives even when the window goes meanwhile. */
export const put = (path: string, body: object) => ask(path, { ...send('PUT', body), keepalive: true });
/** The wish of a job or an order as it lies in the shop folder. */
export const getPhotoSettings = async (path: string) => (await askJson<{ readonly wish: PhotoSettings }>(path)).wish;
export const removeJob = (id: string) => ask(`/api/jobs/${id}`, { method: 'DELETE' });
export const keepJob = (id: string) => askJson<JobCard>(`/api/jobs/${id}/keep`, { method: 'POST' });
export const recordBurned = (
  id: string,
  asked: { readonly count: number; readonly scrap: number; readonly note?: string },
  picture?: File,
) =>
  askJson<BurnedCard>(
    `/api/jobs/${id}/burned`,
    picture
      ? { method: 'POST', body: picture, headers: { 'x-burned': encodeURIComponent(JSON.stringify(asked)) } }
      : send('POST', asked),
  );
/**
 * The customer says yes to what was shown.
 * @param path of a job or of a piece of an order
 */
export const agree = (path: string, shown: PhotoSettings) => ask(`${path}/agree`, send('POST', shown));
export const takeYesBack = (path: string) => ask(`${path}/agree`, { method: 'DELETE' });
/** @param path of a job or of an order */
export const setReady = (path: string, day: string | null) => ask(`${path}/ready`, send('PUT', { day }));
export const makeOnlyAgreed = (id: string, on: boolean) => ask(`/api/orders/${id}/only-agreed`, send('PUT', { on }));
export const getBurned = (month: string) => askJson<BurnedMonth>(`/api/burned?month=${month}`);
export const burnAgain = (id: string, force: boolean) =>
  askJson<BurnedAgain>(`/api/burned/${id}/again`, send('POST', { force }));
export const listFormFields = (kind: FormKindJson, asked: FormAskJson) =>
  askJson<readonly FormFieldJson[]>(`/api/forms/${kind}/fields`, send('POST', asked));
/** What the answers would make, as a picture; undefined where there is nothing to see. */
export async function sketchForm(kind: FormKindJson, asked: FormAskJson): Promise<Blob | undefined> {
  const answer = await ask(`/api/forms/${kind}/sketch`, send('POST', asked));
  return answer.status === 204 ? undefined : answer.blob();
}
export const keepForm = (kind: FormKindJson, asked: FormAskJson & { readonly replaces: boolean }) =>
  askJson<{ readonly name: string }>(`/api/forms/${kind}`, send('POST', asked));
export const listRestable = () => askJson<readonly RestableLine[]>('/api/rested');
export const restNotice = (known: KnownNotice) => askJson<unknown>('/api/rested', send('POST', known));
export const wakeNotice = (code: string) => ask(`/api/rested/${code}`, { method: 'DELETE' });
export const useSample = (id: string, wish: PhotoSettings) =>
  askJson<JobCard>(`/api/samples/${id}`, send('POST', wish));

/** Keeps a drawing in the shop; the name by which a wish asks for it. */
export const keepDrawing = (file: File) =>
  askJson<{ readonly name: string }>('/api/drawings', {
    method: 'POST',
    body: file,
    headers: { 'x-file-name': encodeURIComponent(file.name) },
  });

/** The subject of a photo as it is found by itself: a picture of the whole photo, white where the subject is. */
export const drawMask = async (path: string, wish: PhotoSettings) =>
  (await ask(`${path}/subject`, send('POST', wish))).blob();
export const getMask = async (path: string, name: string) => (await ask(`${path}/masks/${name}`)).blob();
/** Keeps a mask beside its photo; the name by which a wish asks for it. */
export const keepMask = (path: string, mask: Blob) =>
  askJson<{ readonly name: string }>(`${path}/masks`, { method: 'POST', body: mask });

/**
 * The tones of a wish without its dots; undefined when a newer one was asked for meanwhile.
 * @param path of a job or of a piece of an order
 */
export async function getDraft(path: string, ask_: PreviewRequestJson, signal: AbortSignal): Promise<Blob | undefined> {
  const answer = await ask(`${path}/draft`, send('POST', ask_, signal));
  return answer.status === 204 ? undefined : answer.blob();
}

/** Share of the search of dots that a window waits for, 0 … 1. */
export const getShare = async (path: string, window: string) =>
  (await askJson<{ readonly share: number }>(`${path}/look/share?window=${window}`)).share;

export interface PreviewParts {
  /** The proof, as soon as it is there. */
  readonly onPicture: (picture: Blob) => void;
  /** What it foretells, a little later. */
  readonly onFacts: (facts: PredictionJson) => void;
}

/**
 * The proof, then what it foretells, of the newest wish of a window. The server gives up what another look of the same
 * window overtakes: where that was an older wish, whose request came later, this one is asked for again.
 */
export async function getPreview(
  path: string,
  ask_: PreviewRequestJson,
  parts: PreviewParts & { readonly signal: AbortSignal },
): Promise<void> {
  while (!(await readPreview(path, ask_, parts)) && !parts.signal.aborted);
}

/** The picture's length, the picture, and the facts in one body; gives whether all of it came. */
async function readPreview(
  path: string,
  ask_: PreviewRequestJson,
  { signal, onPicture, onFacts }: PreviewParts & { readonly signal: AbortSignal },
): Promise<boolean> {
  const answer = await ask(`${path}/look`, send('POST', ask_, signal));
  if (answer.status === 204 || !answer.body) return false;
  const reader = answer.body.getReader();
  let bytes = new Uint8Array(0);
  let length = -1;
  let shown = false;
  for (;;) {
    const { done, value } = await reader.read();
    if (value) {
      const more = new Uint8Array(bytes.length + value.length);
      more.set(bytes);
      more.set(value, bytes.length);
      bytes = more;
    }
    if (length < 0 && bytes.length >= 4) length = new DataView(bytes.buffer).getUint32(0, true);
    if (!shown && length >= 0 && bytes.length >= 4 + length) {
      shown = true;
      onPicture(new Blob([bytes.slice(4, 4 + length)], { type: 'image/jpeg' }));
    }
    if (done) break;
  }
  const facts = new TextDecoder().decode(bytes.subarray(4 + length));
  if (facts === '') return false;
  onFacts(JSON.parse(facts) as PredictionJson);
  return true;
}

export interface Sending {
  readonly done: Promise<JobCard>;
  readonly stop: () => void;
}

/** Send a photo, telling how much of it is there, 0 … 1. */
export function sendPhoto(
  file: File,
  { wish, onProgress }: { readonly wish: PhotoSettings; readonly onProgress: (share: number) => void },
): Sending {
  const headers = { 'x-file-name': encodeURIComponent(file.name), 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
  return sendFile<JobCard>('/api/jobs', file, { headers, onProgress });
}

/** `fetch` cannot tell how far a body has got; the older interface can. */
function sendFile<T>(
  path: string,
  file: Blob,
  {
    headers,
    onProgress,
  }: { readonly headers: Readonly<Record<string, string>>; readonly onProgress: (share: number) => void },
): { readonly done: Promise<T>; readonly stop: () => void } {
  const request = new XMLHttpRequest();
  const done = new Promise<T>((resolve, reject) => {
    request.open('POST', path);
    request.responseType = 'json';
    request.setRequestHeader('content-type', 'application/octet-stream');
    for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
    request.upload.onprogress = ({ loaded, total }) => onProgress(total > 0 ? loaded / total : 0);
    request.onload = () => {
      if (request.status < 300) resolve(request.response as T);
      else {
        const body = request.response as ErrorJson | null;
        const unknown = {
          code: 'bug',
          message: `The server answered ${request.status}.`,
          hint: 'Send the file again.',
        };
        reject(new PageError(body?.error ?? unknown));
      }
    };
    request.onerror = () =>
      reject(
        new PageError({
          code: 'upload-cut-off',
          message: 'The connection ended before the whole file was there.',
          hint: 'Check that Tonewright is still running, then send the file again.',
        }),
      );
    request.onabort = () => reject(new DOMException('stopped', 'AbortError'));
    request.send(file);
  });
  return { done, stop: () => request.abort() };
}

export const listCharts = () => askJson<readonly ChartCard[]>('/api/charts');
export const putAwayChart = (hash: string) => ask(`/api/charts/${hash}`, { method: 'DELETE' });
export const makeChart = (wanted: ChartRequestJson) => askJson<ChartMade>('/api/charts', send('POST', wanted));
/** Burns and scans a drawn chart virtually and reads it. */
export const tryChart = (hash: string) => askJson<Reading>(`/api/charts/${hash}/try`, { method: 'POST' });
export const readCaptures = (wanted: ReadingRequest) => askJson<Reading>('/api/readings', send('POST', wanted));
export const listReadings = () => askJson<readonly Reading[]>('/api/readings');
export const getReading = (id: string) => askJson<Reading>(`/api/readings/${id}`);
export const saveReading = (id: string, how: { readonly replace: boolean; readonly title?: string }) =>
  askJson<Reading>(`/api/readings/${id}/save`, send('POST', how));
export const getProfile = (name: string) => askJson<ProfileView>(`/api/profiles/${name}`);
export const renameProfile = (name: string, title: string) =>
  askJson<ProfileView>(`/api/profiles/${name}`, send('PUT', { title }));
export const removeProfile = (name: string) => ask(`/api/profiles/${name}`, { method: 'DELETE' });
export const getProfileUses = (name: string) => askJson<ProfileUses>(`/api/profiles/${name}/uses`);
export const compareProfiles = (a: string, b: string) => askJson<ComparisonView>(`/api/compare/${a}/${b}`);
export const sendCapture = (file: File, onProgress: (share: number) => void) =>
  sendFile<CaptureCard>('/api/captures', file, {
    headers: { 'x-file-name': encodeURIComponent(file.name) },
    onProgress,
  });

export const createOrder = (title: string, wish: PhotoSettings) =>
  askJson<OrderView>('/api/orders', send('POST', { title, wish }));
export const removeOrder = (id: string) => ask(`/api/orders/${id}`, { method: 'DELETE' });
export const runOrder = (id: string) => askJson<OrderView>(`/api/orders/${id}/run`, { method: 'POST' });
export const copyPiece = (id: string, piece: string) =>
  askJson<OrderView>(`/api/orders/${id}/pieces/${piece}/copy`, { method: 'POST' });
export const removePiece = (id: string, piece: string) =>
  askJson<OrderView>(`/api/orders/${id}/pieces/${piece}`, { method: 'DELETE' });
export const quoteOrder = (id: string, seconds: Readonly<Record<string, number>>) =>
  askJson<OrderAhead>(`/api/orders/${id}/quote`, send('POST', { seconds }));
export const stopOrder = (id: string) => askJson<OrderView>(`/api/orders/${id}/stop`, { method: 'POST' });
export const layPlates = (
  id: string,
  grid?: { readonly columns: number; readonly rows: number; readonly widthMm: number; readonly heightMm: number },
) => askJson<OrderView>(`/api/orders/${id}/plates`, send('POST', grid ? { grid } : {}));
export const sendList = (id: string, file: File) =>
  askJson<ReadListView>(`/api/orders/${id}/list`, { method: 'POST', body: file });
export const sendOrderPhoto = (id: string, file: File) =>
  sendFile<OrderView>(`/api/orders/${id}/photos`, file, {
    headers: { 'x-file-name': encodeURIComponent(file.name) },
    onProgress: () => undefined,
  });
