/** Whether letters go into a field. */
export function isTyping({ target }: Event): boolean {
  if (!(target instanceof HTMLElement)) return false;
  const { tagName } = target;
  return tagName === 'TEXTAREA' || tagName === 'SELECT' || (tagName === 'INPUT' && !isBare(target as HTMLInputElement));
}

const isBare = ({ type }: HTMLInputElement) => type === 'range' || type === 'checkbox' || type === 'radio';
