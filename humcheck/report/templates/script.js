{% include "figures.js" %}
{% include "tables.js" %}
{% include "sounds.js" %}
{% include "blind.js" %}
{% include "folds.js" %}
