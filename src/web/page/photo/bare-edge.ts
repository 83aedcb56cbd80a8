const STORE = 'tonewright-edges';
/** mm. Assumed: what holds a piece and hides that no stop is exact; with it a proof is a thing and not a picture. */
const FIRST_MM = 2;
/**
 * Least of the short side's share that the edge leaves to the photo on each side. Assumed: small tags keep their photo.
 */
const MOST_SHARE = 0.08;

/** The bare edge that a kind of piece had last, or the first one of every piece. */
export function edgeOf({
  name,
  widthMm,
  heightMm,
}: {
  readonly name: string;
  readonly widthMm: number;
  readonly heightMm: number;
}): number {
  const known = read()[name];
  const most = Math.round(10 * MOST_SHARE * Math.min(widthMm, heightMm)) / 10;
  return typeof known === 'number' && known >= 0 ? known : Math.min(FIRST_MM, most);
}

export function rememberEdge(name: string, edgeMm: number): void {
  try {
    localStorage.setItem(STORE, JSON.stringify({ ...read(), [name]: edgeMm }));
  } catch {
    // A browser that keeps nothing begins with the first edge.
  }
}

function read(): Readonly<Record<string, unknown>> {
  try {
    return JSON.parse(localStorage.getItem(STORE) ?? '{}') as Record<string, unknown>;
  } catch {
    return {};
  }
}
