import type { Page } from 'playwright-core';

type GroupName = 'Piece' | 'Material' | 'Crop' | 'Tone' | 'Words' | 'Dots';

/** Opens one group of controls on the stage, if it is not open. */
export async function openGroup(page: Page, name: GroupName): Promise<void> {
  const button = page.getByRole('navigation', { name: 'Controls' }).getByRole('button', { name, exact: true });
  await button.waitFor();
  if ((await button.getAttribute('aria-expanded')) !== 'true') await button.click();
}

/** Puts the open group away. */
export async function closeGroups(page: Page): Promise<void> {
  const open = page.getByRole('navigation', { name: 'Controls' }).locator('[aria-expanded="true"]');
  if ((await open.count()) > 0) await open.click();
}

/** The files of a job, once they are made. */
export const keptFiles = (page: Page) => page.getByText('Kept. One pixel is one dot');
