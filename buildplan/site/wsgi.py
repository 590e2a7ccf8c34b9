"""What gunicorn serves: `gunicorn buildplan.site.wsgi`."""

import os

from django.core.wsgi import get_wsgi_application

from buildplan.site.memory import settle

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "buildplan.site.settings")
application = get_wsgi_application()
settle()
