import { useLayoutEffect, useRef } from 'preact/hooks';
import { laySurface, type SurfaceKind } from './surface.ts';

/** The proof with its material's surface, over the proof itself. */
export function SurfaceLayer({ picture, kind }: { readonly picture: string; readonly kind: SurfaceKind }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  useLayoutEffect(() => {
    let gone = false;
    const image = new Image();
    image.src = picture;
    const draw = () => {
      const target = canvas.current;
      const context = target?.getContext('2d', { willReadFrequently: true });
      if (gone || !target || !context || image.naturalWidth === 0) return;
      target.width = image.naturalWidth;
      target.height = image.naturalHeight;
      context.drawImage(image, 0, 0);
      const pixels = context.getImageData(0, 0, target.width, target.height);
      laySurface(pixels.data, target.width, kind);
      context.putImageData(pixels, 0, 0);
    };
    // The picture has been decoded for the proof already: it is there at once, or a moment later.
    if (image.complete) draw();
    else image.decode().then(draw, () => undefined);
    return () => {
      gone = true;
    };
  }, [picture, kind]);
  return <canvas ref={canvas} class="surface" />;
}
