import type { OrderView, PlateView } from '../../protocol.ts';
import { sayDuration, saySize } from '../measure.ts';
import { Icon } from '../parts/parts.tsx';
import { useShop, useWords } from '../shop-context.ts';

/** A plate to scale: its board, its pockets, and the pieces as they lie in them. */
export function PlateDrawing({ plate, order }: { readonly plate: PlateView; readonly order: OrderView }) {
  const { unit } = useShop();
  const words = useWords();
  const { widthMm, heightMm, pockets, pieces, name, seconds, corrected, warnings } = plate;
  const rounds = new Set(pockets.filter(({ round }) => round).map((pocket) => pocket.name));
  const known = new Map(order.pieces.map((piece) => [piece.name, piece.id]));
  return (
    <figure class="plate">
      <svg
        viewBox={`-1 -1 ${widthMm + 2} ${heightMm + 2}`}
        role="img"
        aria-label={`${name}: ${pieces.length} of ${pockets.length} pockets filled`}
      >
        <rect class="board" width={widthMm} height={heightMm} rx={1} />
        {pockets.map((pocket) => (
          <rect
            key={pocket.name}
            class="pocket"
            x={pocket.xMm}
            y={pocket.yMm}
            width={pocket.widthMm}
            height={pocket.heightMm}
            rx={pocket.round ? pocket.widthMm / 2 : undefined}
          />
        ))}
        {pieces.map((piece) => (
          <g key={`${piece.pocket}-${piece.name}`}>
            {known.has(piece.name) && !piece.turned && (
              <svg
                x={piece.xMm}
                y={piece.yMm}
                width={piece.widthMm}
                height={piece.heightMm}
                viewBox={`${piece.photo.crop.x} ${piece.photo.crop.y} ${piece.photo.crop.width} ${piece.photo.crop.height}`}
                aria-hidden="true"
              >
                <image
                  href={`/api/orders/${order.id}/pieces/${known.get(piece.name)}/photo`}
                  width={piece.photo.width}
                  height={piece.photo.height}
                />
              </svg>
            )}
            <rect
              class="lying"
              x={piece.xMm}
              y={piece.yMm}
              width={piece.widthMm}
              height={piece.heightMm}
              rx={rounds.has(piece.pocket) ? piece.widthMm / 2 : undefined}
            />
          </g>
        ))}
      </svg>
      <figcaption>
        <b>{name}</b>
        <span class="soft">
          {saySize(widthMm, heightMm, unit)} · {pieces.length === 1 ? '1 piece' : `${pieces.length} pieces`} ·{' '}
          {sayDuration(seconds)}
        </span>
        {warnings.map((text) => (
          <p key={text} class="warn-line">
            <Icon name="warn" />
            <span>{words(text)}</span>
          </p>
        ))}
        {corrected.length > 0 && (
          <details class="note">
            <summary>
              {corrected.length === 1
                ? '1 piece screened again for where it lies'
                : `${corrected.length} pieces screened again for where they lie`}
            </summary>
            {corrected.map((piece) => (
              <p key={`${piece.pocket}-${piece.name}`}>
                {piece.name} in {piece.pocket}: {words(piece.note)}
              </p>
            ))}
          </details>
        )}
      </figcaption>
    </figure>
  );
}
