import { readFileSync } from 'node:fs';

/** Version from package.json, which lies one folder above the sources and two above the compiled program. */
export function toolVersion(): string {
  for (const path of ['../package.json', '../../package.json']) {
    try {
      const { name, version } = JSON.parse(readFileSync(new URL(path, import.meta.url), 'utf8')) as { name?: string; version?: string };
      if (name === 'boardproof' && version !== undefined) return version;
    } catch {
      // Not there: the other place has it.
    }
  }
  throw new Error('package.json of boardproof is missing');
}
