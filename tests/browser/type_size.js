// Set the type of text, code and controls in px, or with null as it was.
px => {
  const style = document.documentElement.style;
  for (const name of ['content-font-size1', 'code-font-size', 'ui-font-size1'])
    if (px) style.setProperty(`--jp-${name}`, `${px}px`);
    else style.removeProperty(`--jp-${name}`);
}
