import facts from '../../package.json' with { type: 'json' };

export const version: string = facts.version;
