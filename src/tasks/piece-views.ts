/** How a piece that was turned is shown: its skin laid flat, or as it stands, from a side. */
export const PIECE_VIEWS = ['unrolled', 'front', 'right', 'back', 'left'] as const;
export type PieceView = (typeof PIECE_VIEWS)[number];
